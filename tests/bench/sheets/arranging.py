"""Which columns and lines a table has, by its layout."""

from __future__ import annotations

import re
from collections.abc import Callable
from dataclasses import replace

from .columns import CHECKS, GROUP_OF, Column, Columns, Line
from .layouts import Layout
from .style import Cell
from .truth import Device, Mark, Recorded

TYPED_ONCE = {
    "device",
    "serial",
    "location",
    "rated",
    "date",
    "technician",
    "site",
    "instrument",
    "clock",
    "waveform",
    "result",
    "remark",
    "retest_due",
    "harmless",
}
TIME_WORDS = re.compile(r"\bms\b|time|zeit|temps|tiempo|tempo|tijd", re.IGNORECASE)


def arrange(layout: Layout, columns: Columns) -> list[Column]:
    """The columns of a table, in order."""
    rng, fields = columns.words.rng, columns.recorded.fields
    blocks = [_identity(layout, columns), _circumstances(columns, ("date", "technician", "instrument", "clock"))]
    if rng.random() < 0.4:
        blocks.reverse()
    blocks += [_checks(layout, columns), _measured(layout, columns), _verdict(layout, columns)]
    if "retest_due" in fields:
        blocks.append([columns.retest_due()])
    if layout.shuffled:
        rng.shuffle(blocks)
        if rng.random() < 0.5:
            blocks = [[column] for block in blocks for column in rng.sample(block, len(block))]
    for _ in range(layout.harmless or int(rng.random() < 0.15)):
        blocks.insert(rng.randint(0, len(blocks)), [columns.harmless()])
    if "remark" in fields:
        place = len(blocks) if layout.remark == "unheaded" or not layout.shuffled else rng.randint(0, len(blocks))
        blocks.insert(place, [columns.remark(layout.remark != "unheaded")])
    flat = [column for block in blocks for column in block]
    return [_once(column) for column in flat] if layout.outlets in ("blank", "merged") else flat


def lines_of(layout: Layout, device: Device, recorded: Recorded, again: bool = False) -> list[Line]:
    """The lines that a device fills."""
    units = [device.retest] if again and device.retest else device.units
    if layout.readings == "lines":
        return [Line(device, units[0], again=again)]
    if layout.body == "mixed":
        return [Line(device, units[0], phase == "0", phase, again) for phase in ("0", "180")]
    if layout.body == "wide":
        return [Line(device, unit, index == 0, again=again) for index, unit in enumerate(units)]
    return _long_lines(layout, device, recorded)


def _long_lines(layout: Layout, device: Device, recorded: Recorded) -> list[Line]:
    checks = [key for key in CHECKS if key in recorded.fields] if layout.body != "split" else []
    unit = device.units[0]
    return [Line(device, unit, index == 0, key) for index, key in enumerate([*checks, *recorded.readings])]


def _identity(layout: Layout, columns: Columns) -> list[Column]:
    keys: list[str] = [key for key in ("site", "location") if key in columns.recorded.fields]
    keys += ["board", "circuit"] if layout.naming == "board" else ["device"]
    block = [columns.fact(key, _value(key)) for key in keys]
    if layout.outlets:
        block.append(columns.outlet())
    later = [key for key in ("serial", "description", "waveform") if key in columns.recorded.fields]
    block += [columns.fact(key, _value(key)) for key in later]
    if "rcd_type" in columns.recorded.fields:
        block.append(columns.rcd_type())
    if layout.rated == "column":
        block.append(columns.rated())
    if layout.header != "three":
        return block
    group = columns.headings.one("groups", "device_data")
    return [replace(column, group=group) for column in block]


def _circumstances(columns: Columns, keys: tuple[str, ...]) -> list[Column]:
    wanted = [key for key in keys if key in columns.recorded.fields]
    return [columns.date() if key == "date" else columns.fact(key, _value(key)) for key in wanted]


def _checks(layout: Layout, columns: Columns) -> list[Column]:
    keys = [key for key in CHECKS if key in columns.recorded.fields]
    if layout.body in ("both", "unit"):
        return []
    if layout.header == "plain" or len(keys) < 2:
        return [columns.check(key) for key in keys]
    group = columns.headings.one("groups", "checks")
    return [columns.check(key, columns.headings.one("under", key), group) for key in keys]


def _measured(layout: Layout, columns: Columns) -> list[Column]:
    if layout.body == "mixed":
        return _phase_columns(columns)
    if layout.body != "wide":
        return _long_columns(layout, columns)
    if layout.readings == "lines":
        return columns.lines()
    if layout.readings == "worst":
        return [columns.worst()]
    if layout.readings == "pairs":
        ramp = "ramp" in columns.recorded.fields
        return columns.pairs() + ([columns.reading("ramp", columns.headings.one("headings", "ramp"))] if ramp else [])
    return columns.readings() if layout.header == "plain" else columns.grouped_readings()


def _verdict(layout: Layout, columns: Columns) -> list[Column]:
    if "result" not in columns.recorded.fields:
        return []
    return columns.ticks() if layout.ticks else [columns.check("result")]


def _phase_columns(columns: Columns) -> list[Column]:
    phases = dict(zip(("0", "180"), columns.words.pick_pair("long", "phase0", "phase180"), strict=True))
    block = [Column("", columns.headings.one("long", "phase_heading"), lambda line: phases[line.reading])]
    for group, stem in (("x1", "t1_"), ("x5", "t5_"), ("half", "half_")):
        if any(GROUP_OF[key] == group for key in columns.recorded.readings):
            heading = columns.headings.one("groups", group)
            block.append(Column("value", heading, _phase_cell(columns, stem)))
    return block


def _phase_cell(columns: Columns, stem: str) -> Callable[[Line], Cell]:
    def cell(line: Line) -> Cell:
        key = stem + line.reading
        return columns.style.reading(line.device, key, line.unit.readings[key])

    return cell


def _long_columns(layout: Layout, columns: Columns) -> list[Column]:
    headings, labels = columns.headings, _labels(layout, columns)
    if layout.body == "split":
        block = [
            Column("", headings.one("long", "multiple_heading"), lambda line: labels[GROUP_OF[line.reading]]),
            Column("", headings.one("long", "phase_heading"), lambda line: labels[_phase(line)]),
        ]
    else:
        key = "both_heading" if layout.body == "both" else "quantity_heading"
        block = [Column("", headings.one("long", key), lambda line: labels[line.reading])]
    mixed = layout.body != "split" and bool({"ramp", *CHECKS} & columns.recorded.fields)
    value = headings.one("long", "value_heading", lambda text: not (mixed and TIME_WORDS.search(text)))
    block.append(Column("value", value, _long_cell(columns)))
    if layout.body == "unit":
        columns.style.unit = ""
        block.append(Column("", headings.one("long", "unit_heading"), lambda line: _unit(line.reading)))
    return block


def _labels(layout: Layout, columns: Columns) -> dict[str, str]:
    """What one hand calls each reading, the same way down the table."""
    words = columns.words
    labels = {key: words.pick("long", key) for key in ("x1", "x5", "half", "ramp", "visual", "button")}
    labels["phase0"], labels["phase180"] = words.pick_pair("long", "phase0", "phase180")
    for times, stem in (("1", "t1_"), ("5", "t5_")):
        pair = words.pick_pair("long", f"both_{times}_0", f"both_{times}_180")
        labels[stem + "0"], labels[stem + "180"] = pair
    return labels


def _long_cell(columns: Columns) -> Callable[[Line], Cell]:
    def cell(line: Line) -> Cell:
        if line.reading in CHECKS:
            return columns.style.check(line.device.checks[line.reading], False)
        return columns.style.reading(line.device, line.reading, line.unit.readings[line.reading])

    return cell


def _phase(line: Line) -> str:
    return "phase" + line.reading.rpartition("_")[2]


def _unit(key: str) -> str:
    return "" if key in CHECKS else "mA" if key == "ramp" else "ms"


def _value(key: str) -> Callable[[Device], Cell]:
    def value(device: Device) -> Cell:
        return {"device": device.name, "waveform": "AC"}.get(key) or device.facts[key]

    return value


def _once(column: Column) -> Column:
    if column.key not in TYPED_ONCE:
        return column
    return replace(column, cell=lambda line: column.cell(line) if line.first else "")


def untested(line: Line) -> bool:
    """Whether a line of a long table would have an empty value, so that a person may leave it out."""
    return bool(line.reading) and line.unit.readings.get(line.reading) is Mark.BLANK and not line.first
