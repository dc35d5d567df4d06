"""Are readings faster than a mechanism can be, or at odds with each other?

Why: a slip of unit or column shows as a reading that physics or its neighbour contradicts.
How: current that starts at a zero crossing reaches the trip level k·IΔn after t = arcsin(k/(√2·m))/(2πf) at m times the
    rated current; release and contact travel follow. Below that floor the verdict is unclear (see the judge). Here: a
    note for each model and sheet on trip times that are very fast (below 8 ms at 1×, 5 ms at 5×); a caution where a
    device is slower at 5× than at 1× by over half a cycle, and where its phases lie over a cycle apart. (A ramp above
    rated beside a pass at 1× is a known real fault, which the judge tells.)
Source: arithmetic; the values are common practice without a source and can be set in the rule set.
Not asked: sheets without trip times.
Innocent: newer devices do trip within 10 ms at 5×; polarity-sensitive or worn releases differ between phases; columns
    that were exchanged.
"""

from __future__ import annotations

import numpy as np
import pandas as pd

from rcdcheck.scrutiny.answer import Answer, Who
from rcdcheck.scrutiny.grouping import Material, of_slot
from rcdcheck.scrutiny.preparation import settings
from rcdcheck.tables import Mask, Numbers, Tables
from rcdcheck.terms import Bound, Slot, State

QUESTION = "plausibility"
ALL = Who("", "all readings", -1)


def ask(material: Material) -> list[Answer]:
    """Notes for each model and sheet, cautions for each test."""
    times = np.array([s.quantity == "trip_time" for s in material.tables.slots] or [False])
    n = int(times[material.tables.readings["slot"].to_numpy()].sum())
    if not n:
        return [Answer(QUESTION, ALL, 0, "there are no trip times")]
    cautions = {
        "slower-at-five-times": (_slower_at_five(material), "slower at five times the rated current"),
        "phases-far-apart": (_phases_apart(material), "phases over a cycle apart"),
    }
    found = [
        Answer(
            QUESTION,
            ALL,
            n,
            sentence=f"{says}; tests: {(tests & material.counted).sum()}",
            note=code,
            direct="note",
            each=True,
            tests=np.flatnonzero(tests & material.counted),
        )
        for code, (tests, says) in cautions.items()
        if (tests & material.counted).any()
    ]
    return [*found, *_very_fast(material)] or [Answer(QUESTION, ALL, n, sentence="nothing contradicts physics")]


def _very_fast(material: Material) -> list[Answer]:
    tables = material.tables
    readings = tables.readings
    limit = np.array([_very_fast_below(s, material) for s in tables.slots])[readings["slot"].to_numpy()]
    value = readings["value"].to_numpy()
    with np.errstate(invalid="ignore"):
        fast = (value < limit) & (value > 0) & (readings["state"].to_numpy() == State.TRIPPED)
    fast &= (readings["bound"].to_numpy() == Bound.EXACT) & material.counted[readings["test"].to_numpy()]
    if not fast.any():
        return []
    test = readings["test"].to_numpy()[fast].astype(np.int64)
    place = pd.DataFrame({"sheet": tables.tests["sheet"].to_numpy()[test], "test": test, "value": value[fast]})
    place["model"] = tables.tests["model"].to_numpy()[test]
    return [
        _model(material, str(tables.vocabulary[model]), part) for (_, model), part in place.groupby(["sheet", "model"])
    ]


def _model(material: Material, model: str, part: pd.DataFrame) -> Answer:
    sheet = material.tables.sheets.iloc[int(part["sheet"].iloc[0])]
    file = material.tables.inputs[int(sheet["input"])].name
    named = f" of model “{model}”" if model else ""
    said = f"1 trip time{named} is" if len(part) == 1 else f"{len(part)} trip times{named} are"
    return Answer(
        QUESTION,
        Who("", ", ".join(filter(None, (file, str(sheet["sheet"])))), -1),
        len(part),
        statistic=float(part["value"].min()),
        sentence=f"{said} very fast, the fastest {part['value'].min():g} ms",
        note="very-fast",
        direct="note",
        tests=part["test"].drop_duplicates().to_numpy(),
    )


def _very_fast_below(slot: Slot, material: Material) -> float:
    if slot.quantity != "trip_time" or slot.multiple < 1:
        return 0.0
    multiple = 1.0 if np.isnan(slot.multiple) else slot.multiple
    return material.rules.plausibility.very_fast_ms_at(multiple)


def _at(tables: Tables, multiple: float, phase: str) -> Numbers:
    return of_slot(tables, Slot("trip_time", multiple, phase))


def _ms(cycles: float, material: Material) -> float:
    """So many cycles of the mains of the rule set, in ms."""
    return 1000 * cycles / material.rules.plausibility.mains_frequency


def _slower_at_five(material: Material) -> Mask:
    tables, half_cycle = material.tables, _ms(settings(QUESTION)["half_cycles"], material)
    slower = np.zeros(len(tables.tests), dtype=bool)
    for phase in ("0", "180", "none", "worst"):
        longer = _at(tables, 5.0, phase) - _at(tables, 1.0, phase)
        slower[np.nan_to_num(longer) > half_cycle] = True
    return slower


def _phases_apart(material: Material) -> Mask:
    tables, cycle = material.tables, _ms(settings(QUESTION)["cycles"], material)
    apart = np.abs(_at(tables, 1.0, "0") - _at(tables, 1.0, "180"))
    result: Mask = np.greater(np.nan_to_num(apart), cycle)
    return result
