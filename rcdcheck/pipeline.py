"""The whole audit in one screen: intake → judging → scrutiny → grading → Audit."""

from __future__ import annotations

import copy
import dataclasses
import hashlib
import json
from collections.abc import Sequence
from importlib.metadata import PackageNotFoundError
from importlib.metadata import version as installed_version
from typing import TYPE_CHECKING

import numpy as np
import pandas as pd

from rcdcheck import grading, identity, intake, memory, models, progress, rules, worlds
from rcdcheck.audits import Audit, Grade
from rcdcheck.beside import beside
from rcdcheck.errors import ExitCode
from rcdcheck.findings import Findings
from rcdcheck.history import History
from rcdcheck.intake.taken_out import schema
from rcdcheck.judging import checks, outcomes, reasons, verdicts
from rcdcheck.options import Options
from rcdcheck.scrutiny import scrutinise
from rcdcheck.tables import Codes, Mask, Tables
from rcdcheck.terms import Outcome

if TYPE_CHECKING:
    from rcdcheck.intake.opened.files import Opened
    from rcdcheck.register.store import Register
    from rcdcheck.scrutiny.used_again import Earlier

LARGE = 20_000  # tests from which a second process, and memory given back, are worth their while


def run(paths: Sequence[str], options: Options, *, jobs: int = 1, register: Register | None = None) -> Audit:
    """Audit all inputs together. Raises SettingsError or UsageError; a bad input is part of the answer.

    With more than one of `jobs` files are read at a time, and of a large audit the questions on credibility are asked
    in a second process, beside the judging; no answer depends on it.
    With a `register` only files are audited that are new to it, in the light of what it knows of their devices; nothing
    is added to it here.
    """
    rule_set = rules.load(options.rules)
    found = Findings()
    inputs = intake.open_all(paths, options, found, jobs=jobs)
    history = History()
    if register is not None:
        from rcdcheck.register import changes, over_time, recall, seen
        from rcdcheck.register.earlier_readings import earlier_readings

        fresh = seen.fresh(register, inputs, paths, options, rule_set)
        inputs = fresh.inputs
    tables = intake.take_out(inputs, options, found, None, rule_set.typed_names)
    tables = worlds.settle(
        tables,
        lambda: _outcome_of_rows(tables, rule_set, options, copy.deepcopy(found)),
        lambda world: _outcome_in(world, inputs, rule_set, options),
        found,
    )
    inputs = []  # the sheets, as they were opened, are not looked at again
    _give_back(tables)
    schema.check(tables, found)
    device = identity.number_devices(tables, options)
    if register is not None:
        history = recall.recall(register, tables, device, fresh)
        if options.new_only:
            tables, device, history = recall.only_new(tables, device, history)
        tables = recall.unsettle(tables, device, history, options, found)
    models.hold(models.INTAKE, vars(tables))
    counted = ~identity.listed_again(tables, device)
    earlier = earlier_readings(register, tables, device, history) if register is not None else None
    progress.say("asking about the credibility of tests", len(tables.tests))
    with beside(
        lambda: _questions(tables, counted, device, rule_set, earlier), apart=jobs > 1 and len(tables.tests) >= LARGE
    ) as asked:
        _give_back(tables)
        progress.say("judging readings", len(tables.readings))
        judged, limits = verdicts.judge(tables, rule_set, options)
        visit = identity.number_visits(tables.tests, device)
        _give_back(tables)
        decided = outcomes.decide(tables, judged, rule_set, options, found, device, visit)
        reasons.find_readings(tables, judged, found)
        checks.find_all(tables, judged, decided.devices, device, counted, rule_set, found)
        questions, doubts = asked()
    found.take(doubts)
    _give_back(tables)
    if register is not None:
        history = changes.added(register, history, tables, decided)
        history = over_time.added(register, history, tables, judged, decided, options, found)
    findings = _with_tests(found.frame(), tables)
    findings = reasons.told_as_settled(findings, decided.reasons, decided.devices["outcome"].to_numpy()[device])
    of_tests = decided.tests.assign(counted=counted)
    judgement = {"verdicts": judged, "test_outcomes": of_tests, "limits": limits, "findings": findings}
    models.hold(models.JUDGED, judgement | vars(decided) | {"questions": questions})
    facts = grading.evidence(tables, judged, of_tests, counted, findings)
    grades = grading.grade_all(facts, tables)
    letters = grading.grade_devices(tables, judged, decided.devices, device, facts, _of_all(found, findings, tables))
    devices = decided.devices.assign(grade=pd.Series(letters, dtype=object))
    models.hold(models.GRADED, {"grades": devices[["grade"]]})
    return Audit(
        options=options,
        rules=rule_set,
        tables=tables,
        verdicts=judged,
        test_outcomes=of_tests,
        devices=devices,
        outlets=decided.outlets,
        reasons=decided.reasons,
        findings=findings,
        limits=limits,
        questions=questions,
        grades=grades,
        exit_code=exit_code(options, tables, devices, findings, grades, history),
        fingerprint=fingerprint(options, tables, rule_set, history),
        version=version(),
        history=history,
    )


def _give_back(tables: Tables) -> None:
    if len(tables.tests) >= LARGE:
        memory.give_back()


def _questions(
    tables: Tables, counted: Mask, device: Codes, rule_set: rules.RuleSet, earlier: Earlier | None
) -> tuple[pd.DataFrame, Findings]:
    """The questions on credibility, and what they found."""
    doubts = Findings()
    return scrutinise(tables, counted, device, rule_set, doubts, earlier), doubts


def _outcome_in(world: worlds.World, inputs: list[Opened], rule_set: rules.RuleSet, options: Options) -> pd.Series[int]:
    """The same where the columns of `world` mean something else; a cell that cannot be read there is heard."""
    noted = Findings()
    there = intake.take_out(inputs, options, noted, world, rule_set.typed_names)
    return _outcome_of_rows(there, rule_set, options, noted)


def _outcome_of_rows(tables: Tables, rule_set: rules.RuleSet, options: Options, noted: Findings) -> pd.Series[int]:
    """Outcome of the device that each row of the sheets speaks of, by sheet, row and column.

    `noted`: what was found in taking out these tables; findings of judging are added to it.
    """
    device = identity.number_devices(tables, options)
    visit = identity.number_visits(tables.tests, device)
    judged, _ = verdicts.judge(tables, rule_set, options)
    decided = outcomes.decide(tables, judged, rule_set, options, noted, device, visit)
    rows = tables.rows.assign(outcome=decided.devices["outcome"].to_numpy()[device][tables.rows["test"].to_numpy()])
    return rows.groupby(["sheet", "row", "column"])["outcome"].max()  # tables side by side share their rows


def version() -> str:
    """Version from the package's metadata; `unreleased` in a clone that is not installed."""
    try:
        return installed_version("rcdcheck")
    except PackageNotFoundError:
        return "unreleased"


def exit_code(
    options: Options,
    tables: Tables,
    devices: pd.DataFrame,
    findings: pd.DataFrame,
    grades: tuple[Grade, ...],
    history: History,
) -> ExitCode:
    """The one answer of the run for a script."""
    if history.named and not tables.inputs:  # nothing new
        return ExitCode.CLEAN
    if any(i.status != "audited" for i in tables.inputs) or not tables.inputs:
        return ExitCode.INPUT
    present = {o.word for o in Outcome if (devices["outcome"] == o).any()}
    severities = set(findings["severity"])
    present |= {"doubt"} & severities
    present |= {"unclear"} if "error" in severities else set()  # also where it is of no device
    present |= {"new"} if history.new_trouble else set()
    letter = grades[0].grade
    present |= {f"grade-{g}" for g in "cd" if letter >= g.upper()}
    return ExitCode.ATTENTION if present & set(options.fail_on) else ExitCode.CLEAN


def fingerprint(options: Options, tables: Tables, rule_set: rules.RuleSet, history: History) -> str:
    """SHA-256 of all that the answer depends on: inputs, rules, answering options, day, version and register."""
    asked = dataclasses.asdict(options) | {"as_of": options.as_of.isoformat()}
    whole = {
        "inputs": [i.sha256 for i in tables.inputs],
        "rules": rule_set.sha256,
        "options": asked,
        "version": version(),
        "register": history.content,
    }
    return hashlib.sha256(json.dumps(whole, sort_keys=True).encode()).hexdigest()


def _of_all(found: Findings, findings: pd.DataFrame, tables: Tables) -> pd.DataFrame:
    """Severity and test of all findings, listed or only counted."""
    both = ["severity", "test"]
    return pd.concat([findings[both], _with_tests(found.unlisted(), tables)[both]], ignore_index=True)


def _with_tests(findings: pd.DataFrame, tables: Tables) -> pd.DataFrame:
    """Findings of a row of a test that do not name the test yet get its number, through the row that they point at."""
    loose = (findings["test"] < 0) & (findings["row"] > 0) & (findings["row"] == findings["last_row"])
    if not loose.any() or not len(tables.rows):
        return findings
    rows = tables.rows[tables.rows["column"] < 0].set_index(["sheet", "row"])["test"]
    rows = rows[~rows.index.duplicated()]
    keys = pd.MultiIndex.from_frame(findings.loc[loose, ["sheet", "row"]])
    findings.loc[loose, "test"] = rows.reindex(keys).fillna(-1).to_numpy().astype(np.int64)
    return findings
