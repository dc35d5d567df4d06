"""The command line on files that nobody meant to make: `python tests/bench/fuzz_runs.py [--inputs 100000] [--seed 1]
[--minutes 60] [--keep DIR] [--only workbooks]`.

Each input is mutated (`fuzz.py`) and given to the whole command line, many sheets to a run, with options drawn by
chance and on a share of runs with every report and marked copy; one sheet of each run is given to the other commands
that read sheets. Column files, option files, rule sets, remedies, firms, audit documents, registers and what settles
them are mutated too. A run ends with a documented code other than 70, within 20 s of computing and 1 GB, with a
sentence where something could not be read and no litter, and no device passes that failed before its sheet was spoilt.
Sheets of a run that does otherwise are run singly, to tell which of them it is.
"""

from __future__ import annotations

import argparse
import json
import random
import sys
import tempfile
import time
from collections import Counter
from collections.abc import Iterator
from dataclasses import dataclass, field
from itertools import islice
from pathlib import Path

sys.path[:0] = [str(Path(__file__).parent), str(Path(__file__).parents[2])]
import forked  # noqa: E402
import fuzz  # noqa: E402

SECONDS, SHARE, MEMORY = 20, 0.1, 1 << 30  # of a run of one input, of each further one, and of a run
BATCH, OTHERS = 40, 4  # sheets of a run, and files of each other kind beside them
DAY = ("--as-of", "2026-11-25")
WRITTEN = (
    ("--write", "html,xlsx,json,tags", "--mark", "--out", "out"),
    ("--write", "html,xlsx", "--for", "client", "--hide-names", "--client", "=1+1", "--out", "out"),
    ("--write", "html,tags", "--hide-names", "--mark", "--out", "."),
)
OPTIONS = (
    ("--rules", "uk-present"), ("--rules", "north-america-gfci"), ("--decision", "guarded"), ("--kind", "fixed"),
    ("--uncertainty", "trip_time=10%"), ("--identity", "fleet"), ("--date-order", "day-first"), ("--jobs", "2"),
    ("--delimiter", ";"), ("--site", "\u202e<b>"), ("--assume", "rated=30mA"), ("--register", "new.db"),
    ("--encoding", "cp1252"), ("--column", "Date=ignore"), ("--require", "ramp"), ("--environment", "factory"),
    ("--readings", "all"), ("--tests", "all"), ("--log-json",), ("--verbose",), ("--register", "new.db", "--new-only"),
)  # fmt: skip
ELSEWHERE = (
    ("columns", "", "--save", "kept.toml"), ("witness", "", "--seed", "1", "--out", "witness.xlsx", *DAY),
    ("compare", "day.csv", "--with", "", *DAY), ("compare", "", "--with", "day.csv", *DAY),
)  # fmt: skip
SHEET = "\n".join([fuzz.HEADINGS, *fuzz.OTHERS[:3], fuzz.NEVER, *fuzz.OTHERS[3:], ""])
SETTINGS = {
    "columns.toml": '[columns]\n"Device" = "device"\n"1× 0° (ms)" = "trip_time_1x_0 [ms]"\n"Remarks" = "ignore"\n',
    "options.toml": 'client = "A"\nrules = "uk-present"\nassume = ["rated=30mA"]\nfail-on = "fail"\nmark = true\n',
    "remedied.csv": "device,date,remedy\nZ4,2026-11-21,replaced\nK1,2026-11-21,tightened\n",
    "firm.toml": 'name = "A"\naddress = "Lane 1"\nlicence = "L 1"\ncontact = "call"\n',
}


@dataclass
class Told:
    """What was tried, how it ended, and what should not be."""

    tried: Counter[str] = field(default_factory=Counter)
    ended: Counter[int] = field(default_factory=Counter)
    kinds: Counter[str] = field(default_factory=Counter)
    read: Counter[str] = field(default_factory=Counter)
    never: int = 0
    keep: Path | None = None

    def wrong(self, what: str, case: fuzz.Case, arguments: list[str]) -> None:
        """Print one of each kind of fault, and keep its file."""
        self.kinds[what] += 1
        if self.kinds[what] == 1:
            print(f"FAULT {case.name} {case.never}: {what}\n      {arguments}", flush=True)
            if self.keep is not None:
                self.keep.mkdir(parents=True, exist_ok=True)
                (self.keep / f"{len(self.kinds)}-{case.name}").write_bytes(case.content)

    def __str__(self) -> str:
        """The counts."""
        return (
            f"{sum(self.tried.values())} inputs {dict(self.tried)}; sheets that were read {dict(self.read)}; "
            f"{self.never} inputs with a device that failed; runs by exit code {dict(sorted(self.ended.items()))}; "
            f"{sum(self.kinds.values())} faults of {len(self.kinds)} kinds"
        )


def sheets_tried(cases: list[fuzz.Case], options: list[str], told: Told) -> None:
    """Sheets in one run, and singly where that run does what it should not."""
    told.tried.update(Path(case.name).suffix for case in cases)
    told.never += sum(bool(case.never) for case in cases)
    wrong, read = _audited(cases, options, told)
    told.read.update(read)
    if wrong:
        singly = [(case, fault) for case in cases if (fault := _audited([case], options, told)[0])]
        for case, fault in singly or [(cases[0], f"together only: {wrong}")]:
            told.wrong(fault, case, options)


def elsewhere(case: fuzz.Case, chance: random.Random, told: Told) -> None:
    """A sheet, tried already, with a command other than `audit`."""
    asked = [word or case.name for word in chance.choice(ELSEWHERE)]
    with tempfile.TemporaryDirectory() as name:
        folder = Path(name)
        (folder / "day.csv").write_text(SHEET, encoding="utf-8")
        (folder / case.name).write_bytes(case.content)
        ran = forked.run(folder, asked, SECONDS)
        told.ended[ran.code] += 1
        if fault := _fault(ran, folder, 1):
            told.wrong(f"{asked[0]}: {fault}", case, asked)


def _audited(cases: list[fuzz.Case], options: list[str], told: Told) -> tuple[str, list[str]]:
    """What is wrong with a run, empty for nothing, and the kind of each sheet that was read."""
    with tempfile.TemporaryDirectory() as name:
        folder = Path(name)
        for case in cases:
            (folder / case.name).write_bytes(case.content)
        asked = [
            "audit",
            *(case.name for case in cases),
            *DAY,
            "--write",
            "none",
            "--json",
            "-",
            "--devices",
            "all",
            *options,
        ]
        ran = forked.run(folder, asked, SECONDS + 2 * len(cases))
        told.ended[ran.code] += 1
        fault = _fault(ran, folder, len(cases))
        if not fault and any((folder / case.name).read_bytes() != case.content for case in cases):
            return "an input was changed", []
        if fault or ran.code in (2, 5):
            return fault, []
        document = json.loads(ran.stdout)
        read = [Path(one["name"]).suffix for one in document["inputs"] if one["status"] == "audited"]
        return _said_of(document, cases), read


def _said_of(document: dict[str, list[dict[str, str]]], cases: list[fuzz.Case]) -> str:
    never = {case.never for case in cases} - {""}
    through = [d["device"] for d in document["devices"] if d["device"] in never and d["outcome"] == "pass"]
    if through:
        return "a device passed that failed before"
    if any(one["status"] != "audited" and not str(one["reason"]).endswith((".", "?")) for one in document["inputs"]):
        return "an input was not audited, and no sentence says why"
    heard = {one["name"] for one in document["inputs"]} | {one.get("file", "") for one in document["findings"]}
    told = {case.content for case in cases if case.name in heard}  # of two that are the same one is read
    lost = {case.name for case in cases if case.content not in told}
    return f"nothing said of {lost}" if lost else ""


def _fault(ran: forked.Ran, folder: Path, inputs: int) -> str:
    if ran.code not in (0, 1, 2, 3, 4, 5) or "Traceback" in ran.stderr:
        details = "".join(path.read_text() for path in folder.glob("rcdcheck-fault-*.txt")) or ran.stderr
        lines = [line for line in details.splitlines() if "rcdcheck/" in line or "Error" in line]
        return f"code {ran.code}: {lines[:1]} {lines[-1:]}"
    if ran.code in (2, 4, 5) and not ran.stderr.rstrip().endswith((".", "?", ")")):
        return f"code {ran.code} without a sentence: {ran.stderr[-200:]!r}"
    if ran.seconds > SECONDS + SHARE * (inputs - 1):
        return "more than 20 s"
    if ran.memory > MEMORY:
        return "more than 1 GB"
    return "litter" if list(folder.rglob("*.part")) or list(folder.rglob("*-journal")) else ""


def other(kind: str, base: bytes, register: bytes, chance: random.Random, told: Told) -> None:
    """One mutated file of another kind than sheets, with the commands that read it."""
    content = fuzz.mutated(base, Path(kind).suffix, chance)
    told.tried[kind] += 1
    with tempfile.TemporaryDirectory() as name:
        folder = Path(name)
        (folder / "day.csv").write_text(SHEET, encoding="utf-8")
        (folder / "kept.db").write_bytes(register)
        (folder / kind).write_bytes(content)
        asked = chance.choice(_commands(kind))
        ran = forked.run(folder, asked, SECONDS)
        told.ended[ran.code] += 1
        fault = _fault(ran, folder, 1)
        if not fault and asked[0] == "audit" and ran.code in (0, 1, 3):
            told.never += 1
            passes = [d["device"] for d in json.loads(ran.stdout)["devices"] if d["outcome"] == "pass"]
            fault = "a device passed that failed before" if "Z4" in passes else ""
        if not fault and asked[0] == "verify" and ran.code == 0 and json.loads(content) != json.loads(base):
            fault = "verify agrees with a document that was changed"
        if fault:
            told.wrong(f"{kind} {asked[0]}: {fault}", fuzz.Case(kind, content), asked)


def _commands(kind: str) -> list[list[str]]:
    """Commands that read a file of this kind."""
    audit = ["audit", "day.csv", *DAY, "--write", "none", "--json", "-", "--devices", "all"]
    if kind == "audit.json":
        return [["verify", kind, "day.csv"], ["verify", kind, "day.csv"], ["difference", kind, kind]]
    if kind == "fleet.db":
        return [["due", "--register", kind, "--by", "2027-01-31"], ["visits", "--register", kind, "--same"],
                ["due", "--register", kind, "--out", "due.csv", "--out", "due.xlsx", "--out", "due.ics"],
                ["rates", "--register", kind], [*audit, "--register", kind, "--again"]]  # fmt: skip
    if kind == "rules.toml":
        return [[*audit, "--rules", "./rules.toml"], ["rules", "./rules.toml"]]
    if kind == "same.csv":
        return [["visits", "--register", "kept.db", "--settle", kind]]
    if kind == "firm.toml":
        return [[*audit, "--firm", kind, "--for", "client", "--write", "html,xlsx"]]
    return [[*audit, f"--{Path(kind).stem}", kind]]


def bases() -> dict[str, bytes]:
    """Whole files of the kinds other than sheets."""
    rules = (fuzz.ROOT / "schemas" / "rules" / "uk-present.toml").read_bytes()
    with tempfile.TemporaryDirectory() as name:
        folder = Path(name)
        (folder / "day.csv").write_text(SHEET, encoding="utf-8")
        forked.run(folder, ["audit", "day.csv", *DAY, "--write", "none", "--json", "audit.json"], 60)
        (folder / "later.csv").write_text(SHEET.replace("-11-20", "-11-24").replace("K6", "K-6"), encoding="utf-8")
        for sheet in ("day.csv", "later.csv"):
            forked.run(folder, ["audit", sheet, *DAY, "--write", "none", "--register", "fleet.db"], 60)
        made = {kind: (folder / kind).read_bytes() for kind in ("audit.json", "fleet.db")}
        made["same.csv"] = forked.run(folder, ["visits", "--register", "fleet.db", "--same"], 60).stdout
    return made | {"rules.toml": rules} | {kind: text.encode() for kind, text in SETTINGS.items()}


def sees() -> None:
    """Raises AssertionError unless a sheet of each kind is read before all else, and its failed device is found."""
    for suffix, content in [(".csv", SHEET.encode()), *fuzz.in_other_formats(SHEET)]:
        with tempfile.TemporaryDirectory() as name:
            (Path(name) / f"day{suffix}").write_bytes(content)
            asked = ["audit", f"day{suffix}", *DAY, "--write", "none", "--json", "-", "--devices", "all"]
            ran = forked.run(Path(name), asked, 60)
        outcomes = {device["device"]: device["outcome"] for device in json.loads(ran.stdout)["devices"]}
        assert (ran.code, outcomes["Z4"], len(outcomes)) == (1, "fail", 8), f"{suffix} is not seen: {ran}"


def options(chance: random.Random) -> list[str]:
    """Options of one run; reports are costly and made by one run in eight."""
    asked = [word for option in OPTIONS if chance.random() < 0.06 for word in option]
    return asked + list(chance.choice(WRITTEN) if chance.random() < 0.12 else ())


def tried(inputs: int, seed: int, told: Told, minutes: float = 1e9, only: str = "") -> Iterator[None]:
    """Try inputs until they or the minutes are used up, and add to what is told; a pause after each run.

    `only` workbooks, texts or others leaves out the rest.
    """
    chance, start = random.Random(seed), time.monotonic()
    others = bases() if only in ("", "others") else {}
    waiting = iter(fuzz.sheets(9 * inputs, seed) if only != "others" else ())
    if only:
        waiting = (case for case in waiting if _sort(case) == only)
    while (left := inputs - sum(told.tried.values())) > 0 and time.monotonic() - start < 60 * minutes:
        cases = list(islice(waiting, min(left, BATCH)))
        if cases:
            sheets_tried(cases, options(chance), told)
            elsewhere(cases[0], chance, told)
        for kind in sorted(others) * (OTHERS if only or left > 2 * BATCH else 0):
            other(kind, others[kind], others["fleet.db"], chance, told)
        yield


def _sort(case: fuzz.Case) -> str:
    return "texts" if case.name.endswith((".csv", ".txt", ".tsv")) else "workbooks"


def main() -> None:
    """Run until the inputs or the minutes are used up, and tell what should not be."""
    parser = argparse.ArgumentParser(description=(__doc__ or "").splitlines()[0])
    parser.add_argument("--inputs", type=int, default=2000)
    parser.add_argument("--seed", type=int, default=1)
    parser.add_argument("--minutes", type=float, default=20)
    parser.add_argument("--keep", type=Path, default=None)
    parser.add_argument("--only", choices=("texts", "workbooks", "others"), default="")
    asked = parser.parse_args()
    forked.load(SHEET)
    sees()
    said = start = time.monotonic()
    told = Told(keep=asked.keep)
    for _ in tried(asked.inputs, asked.seed, told, asked.minutes, asked.only):
        if time.monotonic() > said + 60:
            said = time.monotonic()
            print(f"{said - start:.0f} s: {told}", flush=True)
    print(told)
    sys.exit(bool(told.kinds))


if __name__ == "__main__":
    main()
