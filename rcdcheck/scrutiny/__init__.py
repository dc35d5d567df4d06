"""Can these readings be believed? One file for each question; nothing here says that readings were invented."""

from __future__ import annotations

import pandas as pd

from rcdcheck.findings import Findings
from rcdcheck.rules import RuleSet
from rcdcheck.scrutiny import (
    alternation,
    copied_blocks,
    crowds,
    digits,
    earlier_visit,
    equal_phases,
    failure_rate,
    file_traces,
    filled_down,
    limits,
    one_value,
    outlets,
    pace,
    plausibility,
    raising,
    repeated_sets,
    used_again,
)
from rcdcheck.scrutiny.answer import Answer
from rcdcheck.scrutiny.grouping import Material, prepare
from rcdcheck.scrutiny.preparation import Group
from rcdcheck.scrutiny.used_again import Earlier
from rcdcheck.tables import Codes, Mask, Tables

OF_GROUPS = (
    equal_phases.ask,
    one_value.ask,
    earlier_visit.ask,
    digits.ask,
    alternation.ask,
)
OF_REPEATS = (repeated_sets.ask, copied_blocks.ask, filled_down.ask)  # not of devices that look the same honestly
OF_ALL = (plausibility.ask, pace.ask, file_traces.ask, failure_rate.ask)


def scrutinise(
    tables: Tables,
    counted: Mask,
    devices: Codes,
    rules: RuleSet,
    findings: Findings,
    earlier: Earlier | None = None,
) -> pd.DataFrame:
    """Ask every question, raise notes and doubts into `findings`, and return the table of questions.

    `counted` (tests,) is False where the same test is listed again; `devices` numbers the
    device of each test; `earlier` is what a register of visits holds. The table has the columns of
    raising.QUESTIONS, one row for each question and group.
    """
    material = prepare(tables, counted, devices, rules)
    answers = ask_all(material, earlier)
    weighed = raising.weigh(answers)
    raising.raise_findings(answers, weighed, tables, findings)
    limits.raise_findings(answers, material, tables, findings)
    return raising.table(weighed)


def ask_all(material: Material, earlier: Earlier | None = None) -> list[Answer]:
    """The answers to all questions, those of chance first."""
    answers = [answer for group in material.groups for answer in ask_group(group)]
    answers += copied_blocks.ask_between(material.groups)
    if earlier is not None:
        answers = used_again.instead(answers, material, earlier)
    return answers + [answer for ask in OF_ALL for answer in ask(material)]


def ask_group(group: Group) -> list[Answer]:
    """The answers to all questions of chance about one group."""
    alone = outlets.once(group)
    apart = crowds.left_out(alone)
    told = [answer for ask in OF_GROUPS for answer in ask(alone)]
    told += [answer for ask in OF_REPEATS for answer in ask(apart)]
    for why, fewer in ((outlets.TOLD, len(alone) < len(group)), (crowds.TOLD, len(apart) < len(alone))):
        if fewer:
            told.append(group.answer("repeated_sets", len(group), why_not=why, limits=True))
    return told
