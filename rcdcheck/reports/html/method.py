"""How often scrutiny is wrong, as its benchmark measured it: tables of `schemas/calibration.json`."""

from __future__ import annotations

from typing import Any

from rcdcheck import data
from rcdcheck.scrutiny import method

Table = tuple[str, tuple[str, ...], list[tuple[str, ...]]]  # caption, head, rows
LEVELS = ("any note or doubt", "any doubt", "any strong doubt")


def calibration() -> tuple[Table, ...]:
    """The measured figures, or nothing where the benchmark has not been run."""
    if not (data.schemas() / "calibration.json").is_file():
        return ()
    return tables(method.calibration())


def tables(measured: dict[str, Any]) -> tuple[Table, ...]:
    """Tables of a document that tests/bench/calibration.py writes."""
    alarms = measured["false_alarms"]
    pooled = [(f"honest sheets of {_sizes(measured)} devices", alarms["pooled"])]
    pooled.append((f"honest records of {measured['large']['devices']:,} devices", measured["large"]))
    return (
        (
            "False alarms on simulated honest sheets, with exact 95 % intervals (Clopper and Pearson)",
            ("Sheets", *LEVELS),
            [(name, *(_rate(rates[level]) for level in LEVELS)) for name, rates in pooled],
        ),
        (
            f"False alarms of each question by itself at {measured['level']:g}, not adjusted for many questions",
            ("Question", "Raised", "Worst kind of honest sheet", "There"),
            [
                (_words(code), _rate(r), str(r["worst_kind"]), f"{100 * r['worst_rate']:.2g} %")
                for code, r in alarms["questions"].items()
            ],
        ),
        (
            "What it sees: per cent of fabricated sheets that raised a doubt, by number of devices. Measured with: "
            + str(measured["command"]),
            ("Fabricated by", "Display step", *(f"{n:,}" for n in measured["sizes"])),
            [
                (str(p["style"]), f"{p['step_ms']:g} ms", *(f"{share:g}" for share in p["per_cent"]["any doubt"]))
                for p in measured["power"]
            ],
        ),
    )


def _sizes(measured: dict[str, Any]) -> str:
    return f"{min(measured['sizes'])} to {max(measured['sizes'])}"


def _rate(rate: dict[str, float]) -> str:
    share = f"{100 * rate['rate']:.2g} % ({100 * rate['low']:.2g} to {100 * rate['high']:.2g} %)"
    return f"{rate['count']:,} of {rate['of']:,}: {share}"


def _words(code: str) -> str:
    return code.replace("-", " ")
