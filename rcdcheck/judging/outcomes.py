"""From verdicts, flags and remarks to the outcome of each test, outlet and device.

Within a visit every reading is judged and the worst stands; a visit is complete where its tests together are. Across
visits the latest decides, except that a fail stays until a later visit passes and a remedy is on record: a pass
without one is unclear, and anything less leaves the fail standing.
"""

from __future__ import annotations

import numpy as np
import pandas as pd

from rcdcheck.findings import Findings
from rcdcheck.judging import reasons, within_visit
from rcdcheck.judging.across_visits import across_visits
from rcdcheck.judging.devices import Outcomed, gather
from rcdcheck.judging.errors_heard import error_reasons, lost_dates
from rcdcheck.judging.grounds import Grounds, Outcomes, grounds_of, no_reasons, note, reason
from rcdcheck.judging.possible_types import TROUBLES, possible_types
from rcdcheck.numbering import repeated
from rcdcheck.options import Options
from rcdcheck.reading_marks import reading_marks
from rcdcheck.rules import RuleSet
from rcdcheck.sheet_fields import CHECKED_FIELDS, FIELDS, WORDS_OF
from rcdcheck.tables import Codes, Mask, Numbers, Tables, Texts
from rcdcheck.terms import Flag, Outcome, State, Verdict

ASKED_FOR = ("visual", "push_button")  # checks that rules and options may ask for, with findings of their own


def decide(
    tables: Tables,
    verdicts: pd.DataFrame,
    rules: RuleSet,
    options: Options,
    findings: Findings,
    device: Codes,
    visit: Codes,
) -> Outcomed:
    """Outcomes of everything, with reasons; raises findings about contradictions, repeats and outlets."""
    grounds = grounds_of(tables, verdicts, rules, options, findings, device, visit)
    parts = [
        _reading_reasons(grounds),
        _remark_reasons(grounds),
        _flag_reasons(grounds),
        _identity_reasons(grounds),
        _rating_reasons(grounds, rules),
        _missing_reasons(grounds),
        _unsettled_reasons(grounds),
    ]
    all_reasons = pd.concat([p for p in parts if len(p)] or [no_reasons()], ignore_index=True)
    all_reasons = pd.concat([all_reasons, error_reasons(grounds, all_reasons)], ignore_index=True)
    all_reasons = pd.concat([all_reasons, _declared_reasons(grounds, all_reasons)], ignore_index=True)
    outcome, all_reasons = within_visit.settle(grounds, all_reasons)
    contradicted = _contradicted_passes(grounds, within_visit.worst(all_reasons, grounds.unit, len(outcome)), outcome)
    all_reasons = pd.concat([all_reasons, contradicted], ignore_index=True)
    outlets, standing = across_visits(grounds, outcome, all_reasons)
    return gather(grounds, rules, outcome, outlets, standing)


def _reading_reasons(grounds: Grounds) -> pd.DataFrame:
    verdict = grounds.verdicts["verdict"].to_numpy()
    at = np.flatnonzero((verdict == Verdict.FAIL) | (verdict == Verdict.UNCLEAR))
    at = at[~np.isin(grounds.verdicts["reason"].to_numpy()[at], TROUBLES)]
    return reasons.of_readings(grounds.tables, grounds.verdicts, at).drop(columns="typed")


def _flag_reasons(grounds: Grounds) -> pd.DataFrame:
    """Checks: failed, not to be read, or (look-over and test button) blank in a column that is in use."""
    tests = grounds.tables.tests
    parts = []
    for name in CHECKED_FIELDS:
        flag, words = tests[name].to_numpy(), _quoted(grounds, WORDS_OF[name])
        code = name.replace("_", "-") if name in ASKED_FOR else "check"
        words = words if name in ASKED_FOR else f"“{FIELDS[name]['title']}”" + words
        parts.append(reason(grounds, flag == Flag.FAIL, f"{code}-failed", Outcome.FAIL, name, words))
        note(grounds, flag == Flag.FAIL, f"{code}-failed", name, words)
        parts.append(reason(grounds, flag == Flag.UNCLEAR, f"{code}-unclear", Outcome.UNCLEAR, name, words))
    looked_at = np.isin(tests["visual"], (Flag.PASS, Flag.FAIL))
    seen = np.bincount(grounds.visit[looked_at], minlength=len(tests)) > 0  # by visit
    blank = (tests["visual"].to_numpy() == Flag.BLANK) & ~seen[grounds.visit]
    parts.append(reason(grounds, blank, "visual-blank", Outcome.INCOMPLETE, "visual"))
    button = tests["push_button"].to_numpy() == Flag.BLANK
    note(grounds, button, "push-button-blank", "push_button")
    read = np.bincount(grounds.tables.readings["test"], minlength=len(tests)) > 0
    note(grounds, (tests["visual"].to_numpy() == Flag.FAIL) & read, "readings-after-failed-visual", "visual")
    for wanted in ASKED_FOR:
        if wanted in grounds.options.require:
            lacking = np.isin(tests[wanted], (Flag.ABSENT, Flag.BLANK))
            parts.append(reason(grounds, lacking, f"{wanted.replace('_', '-')}-required", Outcome.INCOMPLETE, wanted))
    return pd.concat(parts, ignore_index=True)


def _quoted(grounds: Grounds, field: str) -> Texts:
    """What stands in a text column of each test as the end of a sentence: `: “cracked lid”`, or nothing."""
    codes = grounds.tables.tests[field].to_numpy()
    used, back = np.unique(codes, return_inverse=True)
    quoted: Texts = np.array([f": “{t}”" if t else "" for t in grounds.tables.texts(used)] or [""], dtype=object)[back]
    return quoted


def _identity_reasons(grounds: Grounds) -> pd.DataFrame:
    unnamed = grounds.tables.tests["device"].to_numpy() == 0
    note(grounds, unnamed, "device-unnamed", "device")
    unread = grounds.tables.tests["rated_unreadable"].to_numpy()
    lost = lost_dates(grounds)
    note(grounds, lost, "date-lost-among-others", "tested_at")
    return pd.concat(
        [
            reason(grounds, lost, "date-lost-among-others", Outcome.UNCLEAR, "tested_at"),
            reason(grounds, unnamed, "device-unnamed", Outcome.UNCLEAR, "device"),
            reason(grounds, unread, "rated-unreadable", Outcome.UNCLEAR, "rated_residual_current"),
        ],
        ignore_index=True,
    )


def _rating_reasons(grounds: Grounds, rules: RuleSet) -> pd.DataFrame:
    """Ratings and types that contradict each other, the kind of the device or the rules; said once a test."""
    tables, tests = grounds.tables, grounds.tables.tests
    rated = tests["rated_residual_current"].to_numpy()
    codes, distinct = pd.factorize(rated)
    words = np.array([*(f"{r:g} mA" for r in distinct), ""], dtype=object)[codes]
    possible, sets = possible_types(tables, rules)
    trouble = np.array([s.trouble for s in sets] or [""], dtype=object)[possible]
    parts = []
    for code in TROUBLES:
        here = trouble == code
        field = "rcd_type" if code == "class-contradicts-rating" else "rated_residual_current"
        note(grounds, here, code, field, words)
        parts.append(reason(grounds, here, code, Outcome.UNCLEAR, field, words))
    differ = _ratings_differ(grounds, rated)
    note(grounds, differ, "ratings-differ", "rated_residual_current", words)
    parts.append(reason(grounds, differ, "ratings-differ", Outcome.UNCLEAR, "rated_residual_current", words))
    return pd.concat(parts, ignore_index=True)


def _ratings_differ(grounds: Grounds, rated: Numbers) -> Mask:
    """Tests of a device of which one visit states several ratings, with no remedy on record: two devices, or a slip."""
    several = repeated(grounds.visit)
    several[several] = pd.Series(rated[several]).groupby(grounds.visit[several]).transform("nunique").to_numpy() > 1
    remedied = np.bincount(grounds.visit[grounds.remarks.of_device], minlength=len(rated)) > 0
    result: Mask = (
        several & np.isfinite(rated) & ~remedied[grounds.visit] & (grounds.tables.tests["device"] > 0).to_numpy()
    )
    return result


def _unsettled_reasons(grounds: Grounds) -> pd.DataFrame:
    """What understanding the sheet has left open: a cell that says something failed, a column with two meanings."""
    return grounds.tables.unsettled.assign(outcome=np.int8(Outcome.UNCLEAR))[list(reasons.REASONS)]


def _remark_reasons(grounds: Grounds) -> pd.DataFrame:
    """Faults without a remedy, repeats without their first, no access, out of use, and readings beside these."""
    r = grounds.remarks
    lacking = grounds.needs.lacking[grounds.unit]
    state = grounds.tables.readings["state"].to_numpy()
    measured = grounds.tables.readings["test"].to_numpy()[np.isin(state, (State.TRIPPED, State.NOT_TRIPPED))]
    read = np.bincount(measured, minlength=len(grounds.tables.tests)) > 0
    said = (
        (r.fault, "remark-names-fault", Outcome.UNCLEAR),
        (r.repeat & ~_first_beside(grounds), "repeat-without-first", Outcome.UNCLEAR),
        (r.no_access & lacking, "no-access", Outcome.INCOMPLETE),
        (r.unreached & read, "no-access-and-tested", Outcome.UNCLEAR),
        (r.out_of_use & lacking, "out-of-use", Outcome.INCOMPLETE),
        (r.withdrawn & ~grounds.needs.by_rules[grounds.unit], "withdrawn-and-tested", Outcome.UNCLEAR),
    )
    return pd.concat([reason(grounds, *each, "remark", r.text) for each in said], ignore_index=True)


def _first_beside(grounds: Grounds) -> Mask:
    """Tests whose unit holds a test with other readings that is no repeat itself, so that a noted repeat has its first;
    and tests of a later visit than one that failed, which is what they repeat.

    The same readings under the same device are the same test listed once more.
    """
    out = np.zeros(len(grounds.unit), dtype=bool)
    if not grounds.remarks.repeat.any():
        return out
    firsts = pd.DataFrame({"unit": grounds.unit, "readings": reading_marks(grounds.tables)})
    of_unit = (
        firsts[~grounds.remarks.repeat].groupby("unit")["readings"].agg(["nunique", "first"]).reindex(grounds.unit)
    )
    out[:] = (of_unit["nunique"] > 1) | ((of_unit["nunique"] == 1) & (of_unit["first"] != firsts["readings"].array))
    return out | _after_a_failed_visit(grounds)


def _after_a_failed_visit(grounds: Grounds) -> Mask:
    """Tests of a later visit than the first at which a reading or check of the same outlet failed."""
    checks = grounds.tables.tests[["visual", "push_button"]].to_numpy() == Flag.FAIL
    failed = (grounds.fails_by_reading | checks.any(axis=1)) & ~grounds.remarks.repeat
    outlet = grounds.units.groupby(["device", "outlet"], sort=False).ngroup().to_numpy()[grounds.unit]
    first = pd.Series(grounds.visit[failed]).groupby(outlet[failed]).min().reindex(outlet).to_numpy()
    with np.errstate(invalid="ignore"):
        result: Mask = first < grounds.visit
    return result


def _missing_reasons(grounds: Grounds) -> pd.DataFrame:
    """What a complete test needs and the visit has not, unless no access or out of use explains it."""
    explained = grounds.of_units(grounds.remarks.no_access | grounds.remarks.out_of_use)
    at = grounds.units["test"].to_numpy()[grounds.needs.lacking & ~explained]
    lacking = np.zeros(len(grounds.tables.tests), dtype=bool)
    lacking[at] = True
    words = grounds.needs.words[grounds.unit]
    return reason(grounds, lacking, "needed-reading-missing", Outcome.INCOMPLETE, grounds.needs.field, words)


def _declared_reasons(grounds: Grounds, so_far: pd.DataFrame) -> pd.DataFrame:
    """A declared fail is a fail, unless readings pass throughout: then the two contradict each other."""
    declared = grounds.tables.tests["declared"].to_numpy() == Flag.FAIL
    unread = grounds.tables.tests["declared"].to_numpy() == Flag.UNCLEAR
    worst = np.zeros(len(grounds.units), dtype=np.int8)
    np.maximum.at(worst, grounds.unit[so_far["test"].to_numpy()], so_far["outcome"].to_numpy())
    passes = (worst == Outcome.PASS)[grounds.unit]
    note(grounds, declared & passes, "declared-fail-contradicted", "declared")
    nothing_else_fails = (worst < Outcome.FAIL)[grounds.unit]  # else the failure has its finding already
    note(grounds, declared & ~passes & nothing_else_fails, "declared-fail", "declared")
    return pd.concat(
        [
            reason(grounds, declared & ~passes, "declared-fail", Outcome.FAIL, "declared"),
            reason(grounds, declared & passes, "declared-fail-contradicted", Outcome.UNCLEAR, "declared"),
            reason(grounds, unread, "declared-unclear", Outcome.UNCLEAR, "declared"),
        ],
        ignore_index=True,
    )


def _contradicted_passes(grounds: Grounds, recorded: Outcomes, settled: Outcomes) -> pd.DataFrame:
    """A declared pass that the readings contradict is the gravest finding there is, remedied later or not."""
    declared = grounds.tables.tests["declared"].to_numpy() == Flag.PASS
    contradicted = declared & (recorded == Outcome.FAIL)[grounds.unit]
    note(grounds, contradicted, "declared-pass-contradicted", "declared")
    told = reason(grounds, contradicted, "declared-pass-contradicted", Outcome.FAIL, "declared")
    return told.assign(standing=(settled == Outcome.FAIL)[grounds.unit[contradicted]])
