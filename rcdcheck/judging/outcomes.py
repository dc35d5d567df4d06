"""From verdicts, flags and remarks to the outcome of each test, outlet and device.

Within a visit every reading is judged and the worst stands; a visit is complete where its tests together are. Across
visits the latest decides, except that a fail stays until a later visit passes and a remedy is on record: a pass
without one is unclear, and anything less leaves the fail standing.
"""

from __future__ import annotations

import numpy as np
import pandas as pd

from rcdcheck.findings import Findings
from rcdcheck.judging import identity, reasons, within_visit
from rcdcheck.judging.across_visits import across_visits
from rcdcheck.judging.court import Court, Outcomes, convene, no_reasons, note, reason
from rcdcheck.judging.devices import Outcomed, gather
from rcdcheck.judging.errors_heard import error_reasons, lost_dates
from rcdcheck.judging.possible_types import TROUBLES, possible_types
from rcdcheck.numbering import repeated
from rcdcheck.records import WORDS_OF, Codes, Flag, Mask, Numbers, Options, Outcome, State, Tables, Texts, Verdict
from rcdcheck.rules import RuleSet


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
    court = convene(tables, verdicts, rules, options, findings, device, visit)
    parts = [
        _reading_reasons(court),
        _remark_reasons(court),
        _flag_reasons(court),
        _identity_reasons(court),
        _rating_reasons(court, rules),
        _missing_reasons(court),
        _unsettled_reasons(court),
    ]
    all_reasons = pd.concat([p for p in parts if len(p)] or [no_reasons()], ignore_index=True)
    all_reasons = pd.concat([all_reasons, error_reasons(court, all_reasons)], ignore_index=True)
    all_reasons = pd.concat([all_reasons, _declared_reasons(court, all_reasons)], ignore_index=True)
    outcome, all_reasons = within_visit.settle(court, all_reasons)
    contradicted = _contradicted_passes(court, within_visit.worst(all_reasons, court.unit, len(outcome)), outcome)
    all_reasons = pd.concat([all_reasons, contradicted], ignore_index=True)
    outlets, standing = across_visits(court, outcome, all_reasons)
    return gather(court, rules, outcome, outlets, standing)


def _reading_reasons(court: Court) -> pd.DataFrame:
    verdict = court.verdicts["verdict"].to_numpy()
    at = np.flatnonzero((verdict == Verdict.FAIL) | (verdict == Verdict.UNCLEAR))
    at = at[~np.isin(court.verdicts["reason"].to_numpy()[at], TROUBLES)]
    return reasons.of_readings(court.tables, court.verdicts, at).drop(columns="typed")


def _flag_reasons(court: Court) -> pd.DataFrame:
    """Visual inspection and test button: failed, not to be read, or blank in a column that is in use."""
    tests = court.tables.tests
    parts = []
    for name in ("visual", "push_button"):
        flag, code = tests[name].to_numpy(), name.replace("_", "-")
        words = _quoted(court, WORDS_OF[name])
        parts.append(reason(court, flag == Flag.FAIL, f"{code}-failed", Outcome.FAIL, name, words))
        note(court, flag == Flag.FAIL, f"{code}-failed", name, words)
        parts.append(reason(court, flag == Flag.UNCLEAR, f"{code}-unclear", Outcome.UNCLEAR, name, words))
    looked_at = np.isin(tests["visual"], (Flag.PASS, Flag.FAIL))
    seen = np.bincount(court.visit[looked_at], minlength=len(tests)) > 0  # by visit
    blank = (tests["visual"].to_numpy() == Flag.BLANK) & ~seen[court.visit]
    parts.append(reason(court, blank, "visual-blank", Outcome.INCOMPLETE, "visual"))
    button = tests["push_button"].to_numpy() == Flag.BLANK
    note(court, button, "push-button-blank", "push_button")
    read = np.bincount(court.tables.readings["test"], minlength=len(tests)) > 0
    note(court, (tests["visual"].to_numpy() == Flag.FAIL) & read, "readings-after-failed-visual", "visual")
    for wanted in ("visual", "push_button"):
        if wanted in court.options.require:
            lacking = np.isin(tests[wanted], (Flag.ABSENT, Flag.BLANK))
            parts.append(reason(court, lacking, f"{wanted.replace('_', '-')}-required", Outcome.INCOMPLETE, wanted))
    return pd.concat(parts, ignore_index=True)


def _quoted(court: Court, field: str) -> Texts:
    """What stands in a text column of each test as the end of a sentence: `: “cracked lid”`, or nothing."""
    codes = court.tables.tests[field].to_numpy()
    used, back = np.unique(codes, return_inverse=True)
    quoted: Texts = np.array([f": “{t}”" if t else "" for t in court.tables.texts(used)] or [""], dtype=object)[back]
    return quoted


def _identity_reasons(court: Court) -> pd.DataFrame:
    unnamed = court.tables.tests["device"].to_numpy() == 0
    note(court, unnamed, "device-unnamed", "device")
    unread = court.tables.tests["rated_unreadable"].to_numpy()
    lost = lost_dates(court)
    note(court, lost, "date-lost-among-others", "tested_at")
    return pd.concat(
        [
            reason(court, lost, "date-lost-among-others", Outcome.UNCLEAR, "tested_at"),
            reason(court, unnamed, "device-unnamed", Outcome.UNCLEAR, "device"),
            reason(court, unread, "rated-unreadable", Outcome.UNCLEAR, "rated_residual_current"),
        ],
        ignore_index=True,
    )


def _rating_reasons(court: Court, rules: RuleSet) -> pd.DataFrame:
    """Ratings and types that contradict each other, the kind of the device or the rules; said once a test."""
    tables, tests = court.tables, court.tables.tests
    rated = tests["rated_residual_current"].to_numpy()
    codes, distinct = pd.factorize(rated)
    words = np.array([*(f"{r:g} mA" for r in distinct), ""], dtype=object)[codes]
    possible, sets = possible_types(tables, rules)
    trouble = np.array([s.trouble for s in sets] or [""], dtype=object)[possible]
    parts = []
    for code in TROUBLES:
        here = trouble == code
        field = "rcd_type" if code == "class-contradicts-rating" else "rated_residual_current"
        note(court, here, code, field, words)
        parts.append(reason(court, here, code, Outcome.UNCLEAR, field, words))
    differ = _ratings_differ(court, rated)
    note(court, differ, "ratings-differ", "rated_residual_current", words)
    parts.append(reason(court, differ, "ratings-differ", Outcome.UNCLEAR, "rated_residual_current", words))
    return pd.concat(parts, ignore_index=True)


def _ratings_differ(court: Court, rated: Numbers) -> Mask:
    """Tests of a device of which one visit states several ratings, with no remedy on record: two devices, or a slip."""
    several = repeated(court.visit)
    several[several] = pd.Series(rated[several]).groupby(court.visit[several]).transform("nunique").to_numpy() > 1
    remedied = np.bincount(court.visit[court.remarks.of_device], minlength=len(rated)) > 0
    result: Mask = several & np.isfinite(rated) & ~remedied[court.visit] & (court.tables.tests["device"] > 0).to_numpy()
    return result


def _unsettled_reasons(court: Court) -> pd.DataFrame:
    """What understanding the sheet has left open: a cell that says something failed, a column with two meanings."""
    return court.tables.unsettled.assign(outcome=np.int8(Outcome.UNCLEAR))[list(reasons.REASONS)]


def _remark_reasons(court: Court) -> pd.DataFrame:
    """Faults without a remedy, repeats without their first, no access, out of use, and readings beside these."""
    r = court.remarks
    lacking = court.needs.lacking[court.unit]
    state = court.tables.readings["state"].to_numpy()
    measured = court.tables.readings["test"].to_numpy()[np.isin(state, (State.TRIPPED, State.NOT_TRIPPED))]
    read = np.bincount(measured, minlength=len(court.tables.tests)) > 0
    said = (
        (r.fault, "remark-names-fault", Outcome.UNCLEAR),
        (r.repeat & ~_first_beside(court), "repeat-without-first", Outcome.UNCLEAR),
        (r.no_access & lacking, "no-access", Outcome.INCOMPLETE),
        (r.unreached & read, "no-access-and-tested", Outcome.UNCLEAR),
        (r.out_of_use & lacking, "out-of-use", Outcome.INCOMPLETE),
        (r.withdrawn & ~court.needs.by_rules[court.unit], "withdrawn-and-tested", Outcome.UNCLEAR),
    )
    return pd.concat([reason(court, *each, "remark", r.text) for each in said], ignore_index=True)


def _first_beside(court: Court) -> Mask:
    """Tests whose unit holds a test with other readings that is no repeat itself, so that a noted repeat has its first.

    The same readings under the same device are the same test listed once more.
    """
    out = np.zeros(len(court.unit), dtype=bool)
    if not court.remarks.repeat.any():
        return out
    firsts = pd.DataFrame({"unit": court.unit, "readings": identity.marks(court.tables)})
    of_unit = firsts[~court.remarks.repeat].groupby("unit")["readings"].agg(["nunique", "first"]).reindex(court.unit)
    out[:] = (of_unit["nunique"] > 1) | ((of_unit["nunique"] == 1) & (of_unit["first"] != firsts["readings"].array))
    return out


def _missing_reasons(court: Court) -> pd.DataFrame:
    """What a complete test needs and the visit has not, unless no access or out of use explains it."""
    explained = court.of_units(court.remarks.no_access | court.remarks.out_of_use)
    at = court.units["test"].to_numpy()[court.needs.lacking & ~explained]
    lacking = np.zeros(len(court.tables.tests), dtype=bool)
    lacking[at] = True
    words = court.needs.words[court.unit]
    return reason(court, lacking, "needed-reading-missing", Outcome.INCOMPLETE, court.needs.field, words)


def _declared_reasons(court: Court, so_far: pd.DataFrame) -> pd.DataFrame:
    """A declared fail is a fail, unless readings pass throughout: then the two contradict each other."""
    declared = court.tables.tests["declared"].to_numpy() == Flag.FAIL
    unread = court.tables.tests["declared"].to_numpy() == Flag.UNCLEAR
    worst = np.zeros(len(court.units), dtype=np.int8)
    np.maximum.at(worst, court.unit[so_far["test"].to_numpy()], so_far["outcome"].to_numpy())
    passes = (worst == Outcome.PASS)[court.unit]
    note(court, declared & passes, "declared-fail-contradicted", "declared")
    nothing_else_fails = (worst < Outcome.FAIL)[court.unit]  # else the failure has its finding already
    note(court, declared & ~passes & nothing_else_fails, "declared-fail", "declared")
    return pd.concat(
        [
            reason(court, declared & ~passes, "declared-fail", Outcome.FAIL, "declared"),
            reason(court, declared & passes, "declared-fail-contradicted", Outcome.UNCLEAR, "declared"),
            reason(court, unread, "declared-unclear", Outcome.UNCLEAR, "declared"),
        ],
        ignore_index=True,
    )


def _contradicted_passes(court: Court, recorded: Outcomes, settled: Outcomes) -> pd.DataFrame:
    """A declared pass that the readings contradict is the gravest finding there is, remedied later or not."""
    declared = court.tables.tests["declared"].to_numpy() == Flag.PASS
    contradicted = declared & (recorded == Outcome.FAIL)[court.unit]
    note(court, contradicted, "declared-pass-contradicted", "declared")
    told = reason(court, contradicted, "declared-pass-contradicted", Outcome.FAIL, "declared")
    return told.assign(standing=(settled == Outcome.FAIL)[court.unit[contradicted]])
