"""From verdicts, flags and remarks to the outcome of each test, outlet and device.

Within a visit every reading is judged and the worst stands; a visit is complete where its tests together are. Across
visits the latest decides, except that a fail stays until a later visit passes and a remedy is on record: a pass
without one is unclear, and anything less leaves the fail standing.
"""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np
import numpy.typing as npt
import pandas as pd

from rcdcheck.findings import Findings, catalogue
from rcdcheck.judging import actions, danger, identity, reasons
from rcdcheck.judging.needs import Needs, missing_needs
from rcdcheck.judging.remarks import Remarks, read_remarks
from rcdcheck.records import Bound, Codes, Flag, Mask, Options, Outcome, State, Tables, Verdict
from rcdcheck.rules import RuleSet

Outcomes = npt.NDArray[np.int8]


@dataclass(frozen=True)
class Outcomed:
    """Frames as records.Audit describes them."""

    tests: pd.DataFrame
    devices: pd.DataFrame
    outlets: pd.DataFrame
    reasons: pd.DataFrame


@dataclass
class _Court:
    """All that the questions about units need; a unit is one outlet of one device at one visit."""

    tables: Tables
    verdicts: pd.DataFrame
    options: Options
    findings: Findings
    device: Codes  # of each test
    visit: Codes  # of each test
    unit: npt.NDArray[np.int64]  # of each test
    units: pd.DataFrame  # unit → device, outlet, visit, first test
    remarks: Remarks
    needs: Needs

    def of_units(self, tests: Mask) -> Mask:
        """Units that hold at least one of these tests."""
        return np.bincount(self.unit[tests], minlength=len(self.units)) > 0


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
    court = _court(tables, verdicts, rules, options, findings, device, visit)
    parts = [
        _reading_reasons(court),
        _flag_reasons(court),
        _identity_reasons(court),
        _remark_reasons(court),
        _missing_reasons(court),
    ]
    all_reasons = pd.concat([p for p in parts if len(p)] or [_none()], ignore_index=True)
    all_reasons = pd.concat([all_reasons, _declared_reasons(court, all_reasons)], ignore_index=True)
    outcome = np.zeros(len(court.units), dtype=np.int8)
    np.maximum.at(outcome, court.unit[all_reasons["test"].to_numpy()], all_reasons["outcome"].to_numpy())
    all_reasons = pd.concat([all_reasons, _contradicted_passes(court, outcome)], ignore_index=True)
    outlets, standing = _across_visits(court, outcome, all_reasons)
    return _gather(court, rules, outcome, outlets, standing)


def _court(
    tables: Tables,
    verdicts: pd.DataFrame,
    rules: RuleSet,
    options: Options,
    findings: Findings,
    device: Codes,
    visit: Codes,
) -> _Court:
    outlet = identity.folded(tables.tests["outlet"].to_numpy(), tables.vocabulary)
    keys = pd.DataFrame({"device": device, "outlet": outlet, "visit": visit})
    unit = keys.groupby(list(keys), sort=True).ngroup().to_numpy()
    units = keys.assign(test=np.arange(len(keys))).groupby(unit).first()
    needs = missing_needs(tables, verdicts, rules, options, unit, len(units))
    return _Court(
        tables, verdicts, options, findings, device, visit, unit, units, read_remarks(tables, findings), needs
    )


def _none() -> pd.DataFrame:
    return pd.DataFrame({k: pd.Series(dtype=v) for k, v in reasons.REASONS.items()})


# ── reasons, one question each ──
def _reading_reasons(court: _Court) -> pd.DataFrame:
    verdict = court.verdicts["verdict"].to_numpy()
    at = np.flatnonzero((verdict == Verdict.FAIL) | (verdict == Verdict.UNCLEAR))
    return reasons.of_readings(court.tables, court.verdicts, at).drop(columns="typed")


def _flag_reasons(court: _Court) -> pd.DataFrame:
    """Visual inspection and test button: failed, not to be read, or blank in a column that is in use."""
    tests = court.tables.tests
    parts = []
    for name in ("visual", "push_button"):
        flag = tests[name].to_numpy()
        parts.append(_reason(court, flag == Flag.FAIL, f"{name.replace('_', '-')}-failed", Outcome.FAIL, name))
        parts.append(_reason(court, flag == Flag.UNCLEAR, f"{name.replace('_', '-')}-unclear", Outcome.UNCLEAR, name))
    seen = (
        np.bincount(
            court.visit[np.isin(tests["visual"], (Flag.PASS, Flag.FAIL))],
            minlength=court.visit.max(initial=0) + 1,
        )
        > 0
    )
    blank = (tests["visual"].to_numpy() == Flag.BLANK) & ~seen[court.visit]
    parts.append(_reason(court, blank, "visual-blank", Outcome.INCOMPLETE, "visual"))
    button = tests["push_button"].to_numpy() == Flag.BLANK
    _note(court, button, "push-button-blank", "push_button")
    read = np.bincount(court.tables.readings["test"], minlength=len(tests)) > 0
    _note(court, (tests["visual"].to_numpy() == Flag.FAIL) & read, "readings-after-failed-visual", "visual")
    for wanted in ("visual", "push_button"):
        if wanted in court.options.require:
            lacking = np.isin(tests[wanted], (Flag.ABSENT, Flag.BLANK))
            parts.append(_reason(court, lacking, f"{wanted.replace('_', '-')}-required", Outcome.INCOMPLETE, wanted))
    return pd.concat(parts, ignore_index=True)


def _identity_reasons(court: _Court) -> pd.DataFrame:
    unnamed = court.tables.tests["device"].to_numpy() == 0
    _note(court, unnamed, "device-unnamed", "device")
    return _reason(court, unnamed, "device-unnamed", Outcome.UNCLEAR, "device")


def _remark_reasons(court: _Court) -> pd.DataFrame:
    """Fault words without a remedy, repeats without their first, no access, out of use."""
    r = court.remarks
    lacking = court.needs.lacking[court.unit]
    return pd.concat(
        [
            _reason(court, r.fault & ~r.remedy, "remark-names-fault", Outcome.UNCLEAR, "remark", r.text),
            _reason(
                court,
                r.repeat & ~_first_beside(court),
                "repeat-without-first",
                Outcome.UNCLEAR,
                "remark",
                r.text,
            ),
            _reason(court, r.no_access & lacking, "no-access", Outcome.INCOMPLETE, "remark", r.text),
            _reason(court, r.out_of_use & lacking, "out-of-use", Outcome.INCOMPLETE, "remark", r.text),
        ],
        ignore_index=True,
    )


def _first_beside(court: _Court) -> Mask:
    """Tests whose unit holds another test, so that a noted repeat has its first."""
    return np.bincount(court.unit, minlength=len(court.units))[court.unit] > 1


def _missing_reasons(court: _Court) -> pd.DataFrame:
    """What a complete test needs and the visit has not, unless no access or out of use explains it."""
    explained = court.of_units(court.remarks.no_access | court.remarks.out_of_use)
    at = court.units["test"].to_numpy()[court.needs.lacking & ~explained]
    lacking = np.zeros(len(court.tables.tests), dtype=bool)
    lacking[at] = True
    words = court.needs.words[court.unit]
    return _reason(court, lacking, "needed-reading-missing", Outcome.INCOMPLETE, court.needs.field, words)


def _declared_reasons(court: _Court, so_far: pd.DataFrame) -> pd.DataFrame:
    """A declared fail is a fail, unless readings pass throughout: then the two contradict each other."""
    declared = court.tables.tests["declared"].to_numpy() == Flag.FAIL
    worst = np.zeros(len(court.units), dtype=np.int8)
    np.maximum.at(worst, court.unit[so_far["test"].to_numpy()], so_far["outcome"].to_numpy())
    passes = (worst == Outcome.PASS)[court.unit]
    _note(court, declared & passes, "declared-fail-contradicted", "declared")
    return pd.concat(
        [
            _reason(court, declared & ~passes, "declared-fail", Outcome.FAIL, "declared"),
            _reason(court, declared & passes, "declared-fail-contradicted", Outcome.UNCLEAR, "declared"),
        ],
        ignore_index=True,
    )


def _contradicted_passes(court: _Court, outcome: Outcomes) -> pd.DataFrame:
    """A declared pass that the readings contradict is the gravest finding there is."""
    declared = court.tables.tests["declared"].to_numpy() == Flag.PASS
    contradicted = declared & (outcome == Outcome.FAIL)[court.unit]
    _note(court, contradicted, "declared-pass-contradicted", "declared")
    return _reason(court, contradicted, "declared-pass-contradicted", Outcome.FAIL, "declared")


def _reason(
    court: _Court,
    tests: Mask,
    code: str,
    outcome: Outcome,
    field: str,
    words: npt.NDArray[np.object_] | None = None,
) -> pd.DataFrame:
    at = np.flatnonzero(tests)
    template = catalogue()[code].message
    texts = words[at] if words is not None else np.full(len(at), "", dtype=object)
    codes, distinct = pd.factorize(texts)
    filled = np.array([template.format(typed=t, words=t, suggestion="") for t in distinct] or [""], dtype=object)
    sheet = court.tables.tests["sheet"].to_numpy()[at]
    return pd.DataFrame(
        {
            "test": at.astype(np.int32),
            "code": np.full(len(at), code, dtype=object),
            "message": filled[codes] if len(at) else texts,
            "outcome": np.full(len(at), outcome, dtype=np.int8),
            "sheet": sheet,
            "row": court.tables.tests["row"].to_numpy()[at],
            "column": court.tables.column_of(field, sheet),
        }
    )


def _note(court: _Court, tests: Mask, code: str, field: str) -> None:
    """A finding for each of these tests, pointing at the cell of `field` in its row."""
    at = np.flatnonzero(tests)
    sheets = court.tables.tests["sheet"].to_numpy()[at]
    for sheet in np.unique(sheets):
        here = at[sheets == sheet]
        column = int(court.tables.column_of(field, np.array([sheet]))[0])
        court.findings.add_many(
            code,
            {
                "sheet": np.full(len(here), sheet),
                "row": court.tables.tests["row"].to_numpy()[here],
                "test": here,
                "column": np.full(len(here), column),
            },
        )


# ── across visits ──
def _across_visits(court: _Court, outcome: Outcomes, found: pd.DataFrame) -> tuple[pd.DataFrame, pd.DataFrame]:
    """Standing outcome of each outlet, and the reasons that stand (a later visit may have settled earlier ones)."""
    units = court.units.assign(outcome=outcome, unit=np.arange(len(outcome)))
    key = ["device", "outlet"]
    last = units.drop_duplicates(key, keep="last")
    several = units[units.duplicated(key, keep=False)]
    failed = several.groupby(key)["outcome"].transform("max") == Outcome.FAIL
    remedied = court.of_units(court.remarks.remedy)
    standing = last.set_index(key)["outcome"].astype("int8").copy()
    extra = []
    for outlet, history in several[failed].groupby(key):
        final, kept = _settle(court, history, remedied)
        standing[outlet] = final
        extra.append((int(history["unit"].iloc[-1]), kept))
    settled = ~np.isin(court.unit[found["test"].to_numpy()], last["unit"].to_numpy())
    found["standing"] = ~settled
    found = _with_open_fails(court, found, extra)
    latest_visit = units.groupby("device")["visit"].max()
    outlets = last.assign(
        outcome=standing.to_numpy(), late=last["visit"].to_numpy() < latest_visit[last["device"]].to_numpy()
    )
    return outlets, found


def _settle(court: _Court, history: pd.DataFrame, remedied: Mask) -> tuple[int, str]:
    """Outcome after all visits of one outlet that failed at least once, and a code where the fail stays open."""
    opened, outcome = False, int(Outcome.PASS)
    for visit in history.itertuples():
        if opened and (remedied[visit.unit] or _remedy_stated(court, int(visit.unit))):
            opened = False
        if visit.outcome == Outcome.FAIL:
            opened, outcome = not remedied[visit.unit], int(Outcome.FAIL)
        elif not opened:
            outcome = int(visit.outcome)
        else:
            outcome = int(Outcome.UNCLEAR if visit.outcome == Outcome.PASS else Outcome.FAIL)
    if history["outcome"].iloc[-1] == Outcome.FAIL:
        return int(Outcome.FAIL), ""
    return outcome, {Outcome.UNCLEAR: "pass-after-fail-without-remedy", Outcome.FAIL: "fail-still-open"}.get(
        Outcome(outcome), ""
    ) if opened else ""  # fmt: skip


def _remedy_stated(court: _Court, unit: int) -> bool:
    """Whether --remedied names the device with a date up to that of this visit."""
    test = int(court.units["test"].iloc[unit])
    name = str(court.tables.vocabulary[court.tables.tests["device"].iloc[test]]).casefold()
    at = court.tables.tests["tested_at"].iloc[test]
    return any(
        d.casefold() == name and (pd.isna(at) or pd.Timestamp(day) <= at.normalize())
        for d, day, _ in court.options.remedied
    )


def _with_open_fails(court: _Court, found: pd.DataFrame, extra: list[tuple[int, str]]) -> pd.DataFrame:
    rows = []
    for unit, code in extra:
        if code:
            mask = np.zeros(len(court.tables.tests), dtype=bool)
            mask[int(court.units["test"].iloc[unit])] = True
            outcome = Outcome.UNCLEAR if code == "pass-after-fail-without-remedy" else Outcome.FAIL
            rows.append(_reason(court, mask, code, outcome, "device").assign(standing=True))
            _note(court, mask, code, "device")
    return pd.concat([found, *rows], ignore_index=True)


# ── devices ──
def _gather(court: _Court, rules: RuleSet, outcome: Outcomes, outlets: pd.DataFrame, found: pd.DataFrame) -> Outcomed:
    tables, tests = court.tables, court.tables.tests
    found = pd.concat([found, _outlets_left_out(court, outlets)], ignore_index=True)
    worst = np.where(outlets["late"], np.maximum(outlets["outcome"], Outcome.INCOMPLETE), outlets["outcome"])
    outlets = outlets.assign(outcome=worst.astype(np.int8))
    n = int(court.device.max(initial=-1)) + 1
    of_device = np.zeros(n, dtype=np.int8)
    np.maximum.at(of_device, outlets["device"].to_numpy(), outlets["outcome"].to_numpy())
    first = pd.DataFrame({"device": court.device, "test": np.arange(len(tests))}).groupby("device")["test"].first()
    devices = tests.iloc[first][["site", "device", "board", "location", "sheet", "row"]].reset_index(drop=True)
    for name in ("kind", "environment"):
        devices[name] = _first_stated(tests[name].to_numpy(), court.device, n)
    devices["outcome"] = of_device
    devices["tests"] = np.bincount(court.device, minlength=n).astype(np.int32)
    devices["tested_at"] = pd.Series(tests["tested_at"]).groupby(court.device).max().to_numpy()
    devices["danger"] = _danger(court, n)
    found["device"] = court.device[found["test"].to_numpy()]
    found["outlet"] = tests["outlet"].to_numpy()[found["test"].to_numpy()]
    found = found.sort_values(["device", "standing", "outcome"], ascending=[True, False, False], kind="stable")
    found = found.reset_index(drop=True)
    devices["retest_due"] = actions.retest_due(tables, devices, rules)
    devices["next_action"] = actions.next_actions(tables, devices, found)
    devices["name"] = _names(tables, devices)
    devices["alike"] = identity.perhaps_alike(tables, devices)
    _outlet_gaps(court, outlets)
    return Outcomed(
        tests=pd.DataFrame({"device": court.device, "visit": court.visit, "outcome": outcome[court.unit]}),
        devices=devices,
        outlets=_outlet_frame(court, outlets),
        reasons=found,
    )


def _names(tables: Tables, devices: pd.DataFrame) -> npt.NDArray[np.object_]:
    """What reports call each device: its identifier, with the switchboard where one site has it on several."""
    names = tables.texts(devices["device"]).copy()
    twice = devices.duplicated(["site", "device"], keep=False).to_numpy() & (devices["board"].to_numpy() > 0)
    boards = tables.texts(devices["board"])
    names[twice] = boards[twice] + " / " + names[twice]
    names[names == ""] = "(no identifier)"
    return names


def _first_stated(codes: npt.NDArray[np.int32], device: Codes, n: int) -> npt.NDArray[np.int32]:
    out = np.zeros(n, dtype=np.int32)
    some = np.flatnonzero(codes > 0)[::-1]
    out[device[some]] = codes[some]
    return out


TOO_EARLY = ("selective-too-fast", "tripped-at-half-rated", "over-sensitive")


def _danger(court: _Court, n: int) -> npt.NDArray[np.int8]:
    """Rank of the most dangerous failing reading of each device, 1 first; 0 where none fails."""
    at = np.flatnonzero(court.verdicts["verdict"].to_numpy() == Verdict.FAIL)
    readings, judged = court.tables.readings.iloc[at], court.verdicts.iloc[at]
    test = readings["test"].to_numpy()
    ramp = np.array([s.quantity == "trip_current" for s in court.tables.slots] or [False])[readings["slot"].to_numpy()]
    ranks = danger.rank(
        ramp=ramp,
        held=((readings["state"] == State.NOT_TRIPPED) | (readings["bound"] == Bound.ABOVE)).to_numpy(),
        low=judged["reason"].isin(TOO_EARLY).to_numpy(),
        value=readings["value"].to_numpy(),
        multiple=judged["multiple"].to_numpy(),
        rated=court.tables.tests["rated_residual_current"].to_numpy()[test],
        test_current=readings["test_current"].to_numpy(),
    )
    out = np.full(n, 127, dtype=np.int8)
    np.minimum.at(out, court.device[test], ranks)
    out[out == 127] = 0
    return out


def _outlets_left_out(court: _Court, outlets: pd.DataFrame) -> pd.DataFrame:
    """Outlets known from an earlier visit that the latest visit of the device lacks."""
    mask = np.zeros(len(court.tables.tests), dtype=bool)
    mask[outlets.loc[outlets["late"], "test"].to_numpy()] = True
    _note(court, mask, "outlet-not-tested-this-time", "outlet")
    return _reason(court, mask, "outlet-not-tested-this-time", Outcome.INCOMPLETE, "outlet").assign(standing=True)


def _outlet_gaps(court: _Court, outlets: pd.DataFrame) -> None:
    """Outlets 1, 2 and 4 listed: outlet 3 is not."""
    codes = court.tables.tests["outlet"].to_numpy()[outlets["test"].to_numpy()]
    used, back = np.unique(codes, return_inverse=True)
    as_number = [int(t) if t.isdecimal() and len(t) < 4 else 0 for t in court.tables.texts(used)]
    numbers = np.array(as_number or [0])[back]
    numbered = outlets.assign(number=numbers)[numbers > 0].groupby("device")["number"].agg(["max", "nunique"])
    for device in numbered.index[numbered["max"] > numbered["nunique"]]:
        mine = outlets["device"].to_numpy() == device
        have = set(numbers[mine]) - {0}
        absent = sorted(set(range(1, max(have))) - have)
        test = int(outlets["test"].to_numpy()[mine][-1])
        court.findings.add(
            "outlet-not-listed",
            sheet=int(court.tables.tests["sheet"].iloc[test]),
            row=int(court.tables.tests["row"].iloc[test]),
            test=test,
            words=", ".join(map(str, absent)),
        )


def _outlet_frame(court: _Court, outlets: pd.DataFrame) -> pd.DataFrame:
    codes = court.tables.tests["outlet"].to_numpy()[outlets["test"].to_numpy()]
    frame = pd.DataFrame(
        {"device": outlets["device"].to_numpy(), "outlet": codes, "outcome": outlets["outcome"].to_numpy()}
    )
    return frame[frame["outlet"] > 0].reset_index(drop=True)
