"""Findings that no single reading shows: repeats, due dates, calibration, columns that whole sheets lack."""

from __future__ import annotations

import numpy as np
import pandas as pd

from rcdcheck.as_seen import column_letters
from rcdcheck.findings import Findings
from rcdcheck.intake.understood.stated import option
from rcdcheck.numbering import combined, first_places
from rcdcheck.rules import RuleSet
from rcdcheck.tables import Codes, Mask, Tables
from rcdcheck.terms import Flag, Outcome, Verdict


def find_all(
    tables: Tables,
    verdicts: pd.DataFrame,
    devices: pd.DataFrame,
    device: Codes,
    counted: Mask,
    rules: RuleSet,
    findings: Findings,
) -> None:
    """Raise all of them; `device` is the number of the device of each test."""
    _listed_again(tables, counted, findings)
    _not_judged(tables, verdicts, findings)
    _rated_not_stated(tables, findings)
    _after_calibration(tables, findings)
    _no_visual_column(tables, findings)
    _phase_not_stated(tables, devices, rules, findings)
    _perhaps_alike(tables, devices, findings)
    _at_two_sites(tables, devices, findings)
    _due_dates(tables, devices, device, findings)


def _each(tables: Tables, tests: Mask, code: str, field: str, findings: Findings, **words: np.ndarray) -> None:
    at = np.flatnonzero(tests)
    told = {name: values[at] for name, values in words.items()}
    findings.add_many(code, {**tables.cells_of(field, at), "test": at, **told})


def _listed_again(tables: Tables, counted: Mask, findings: Findings) -> None:
    _each(tables, ~counted, "same-test-listed-again", "device", findings)


def _not_judged(tables: Tables, verdicts: pd.DataFrame, findings: Findings) -> None:
    """One finding a column whose readings no rule judges, in whole or in part."""
    readings = tables.readings[(verdicts["verdict"] == Verdict.NOT_JUDGED).to_numpy()]
    sheet = tables.tests["sheet"].to_numpy()[readings["test"].to_numpy()]
    for (number, column), rows in readings["row"].groupby([sheet, readings["column"].to_numpy()]):
        heads = tables.columns[(tables.columns["sheet"] == number) & (tables.columns["column"] == column)]["heading"]
        findings.add("not-in-rules", sheet=int(number), row=int(rows.min()), last_row=int(rows.max()),
                     column=int(column), rows=len(rows), heading=str(heads.iloc[0]) if len(heads) else "")  # fmt: skip


def _rated_not_stated(tables: Tables, findings: Findings) -> None:
    """One finding a sheet whose rows do not say the rated residual current: judged under every RCD type."""
    not_stated = tables.tests["rated_residual_current"].isna() & ~tables.tests["rated_unreadable"]
    lacking = tables.tests.loc[not_stated, ["sheet", "row"]]
    for sheet, rows in lacking.groupby("sheet")["row"]:
        findings.add(
            "rated-not-stated", sheet=int(sheet), row=int(rows.min()), last_row=int(rows.max()), rows=len(rows),
            suggestion="--assume rated=30mA",
        )  # fmt: skip


def _after_calibration(tables: Tables, findings: Findings) -> None:
    at, due = tables.tests["tested_at"].to_numpy(), tables.tests["calibration_due"].to_numpy()
    known = ~np.isnat(at) & ~np.isnat(due)
    lapsed = known & (at.astype("datetime64[D]") > due.astype("datetime64[D]"))
    _each(tables, lapsed, "tested-after-calibration-due", "calibration_due", findings)


def _no_visual_column(tables: Tables, findings: Findings) -> None:
    """One finding a sheet: the record says nothing on looking the device over."""
    lacking = tables.tests.loc[tables.tests["visual"] == Flag.ABSENT, ["sheet", "row"]]
    for sheet, rows in lacking.groupby("sheet")["row"]:
        findings.add("no-visual-inspection", sheet=int(sheet), row=int(rows.min()), last_row=int(rows.max()))


def _phase_not_stated(tables: Tables, devices: pd.DataFrame, rules: RuleSet, findings: Findings) -> None:
    """One finding a column of times without a phase, where the rules need both and a device of the sheet lacks one."""
    needed = {need.multiple for need in rules.needs if {"0", "180"} <= set(need.phases)}
    lacking = devices["outcome"] != Outcome.PASS
    plain = np.array([s.quantity == "trip_time" and s.phase == "none" and (s.multiple in needed or np.isnan(s.multiple))
                      for s in tables.slots] or [False])  # fmt: skip
    readings = tables.readings[plain[tables.readings["slot"].to_numpy()]]
    test = readings["test"].to_numpy()
    on_side = np.isin(test, tables.rows.loc[tables.rows["column"] >= 0, "test"])  # a line of such a sheet is a column
    column = np.where(on_side, -1, readings["column"])
    of = pd.DataFrame({"sheet": tables.tests["sheet"].to_numpy()[test], "column": column,
                       "line": np.where(on_side, readings["row"], -1), "row": readings["row"].to_numpy()})  # fmt: skip
    for (number, at, _), rows in of.groupby(["sheet", "column", "line"])["row"]:
        if lacking[devices["sheet"] == number].any():
            findings.add("phase-not-stated", sheet=int(number), row=int(rows.min()), last_row=int(rows.max()),
                         column=int(at), suggestion=_phases(tables, int(number), int(at)))  # fmt: skip


def _phases(tables: Tables, sheet: int, column: int) -> str:
    """The options that say which phase a column of trip times has; empty where its rows say it, or would have to."""
    here = tables.readings[(tables.readings["column"] == column).to_numpy()
                           & (tables.tests["sheet"].to_numpy()[tables.readings["test"]] == sheet)]  # fmt: skip
    if any(tables.slots[slot].phase != "none" for slot in here["slot"].unique()):
        return ""
    columns = tables.columns[(tables.columns["sheet"] == sheet) & (tables.columns["column"] == column)]
    timed = columns[columns["meaning"].str.fullmatch(r"trip_time_[\d.]+x")]
    if timed.empty:
        return ""
    c, name = timed.iloc[0], str(tables.sheets["sheet"].iloc[sheet])
    letters = column_letters(column)
    return " or ".join(option(c["heading"], letters, f"{c['meaning']}_{p}", name) for p in ("worst", "0", "180"))


def _perhaps_alike(tables: Tables, devices: pd.DataFrame, findings: Findings) -> None:
    for _, group in devices[devices["alike"] >= 0].groupby("alike"):
        first = group.iloc[0]
        findings.add("perhaps-the-same-device", sheet=int(first["sheet"]), row=int(first["row"]),
                     words=", ".join(f"“{name}”" for name in group["name"]))  # fmt: skip


def _at_two_sites(tables: Tables, devices: pd.DataFrame, findings: Findings) -> None:
    """The same identifier at two sites is perhaps one device that moved."""
    from rcdcheck.identity import folded

    named = devices[(devices["device"] > 0) & (devices["site"] > 0)]
    key, site = (folded(named[name].to_numpy(), tables.vocabulary) for name in ("device", "site"))
    places = key[first_places(combined(key, site))]  # each device once for each of its sites
    several = (np.bincount(places) > 1)[key]
    for _, group in named[several].groupby(key[several]):
        last = group.iloc[-1]
        findings.add("device-at-two-sites", sheet=int(last["sheet"]), row=int(last["row"]), words=str(last["name"]),
                     sites=" and ".join(tables.texts(group["site"].drop_duplicates())),
                     suggestion="--identity fleet")  # fmt: skip


def _due_dates(tables: Tables, devices: pd.DataFrame, device: Codes, findings: Findings) -> None:
    """A typed due date later than the rule set's interval allows, at the first test of each device."""
    typed = tables.tests["retest_due"].to_numpy()
    if np.isnat(typed).all():
        return
    reckoned = devices["retest_due"].to_numpy()[device]
    later = ~pd.Series(device).duplicated().to_numpy() & (typed > reckoned)
    words = np.array([str(d)[:10] for d in typed], dtype=object)
    limit = np.array([str(d)[:10] for d in reckoned], dtype=object)
    _each(tables, later, "typed-due-date-too-late", "retest_due", findings, words=words, limit=limit)
