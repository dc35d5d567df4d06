"""What headings mean, in seven languages, alone and with the cells below them: common practice, no source."""

from __future__ import annotations

import datetime as dt
import math
import re
from collections.abc import Sequence
from pathlib import Path

import numpy as np
import pytest
from hypothesis import example, given, settings
from hypothesis import strategies as st

from rcdcheck import data
from rcdcheck.errors import SettingsError, UsageError
from rcdcheck.intake.opened.grids import coded
from rcdcheck.intake.understood.assignment import Assigned, assign, rated_of
from rcdcheck.intake.understood.candidates import weights
from rcdcheck.intake.understood.column_candidates import Headed
from rcdcheck.intake.understood.heading_evidence import from_heading
from rcdcheck.intake.understood.meaning import Meaning
from rcdcheck.intake.understood.profiles import profile
from rcdcheck.intake.understood.stated import column_file, stated

# HEADING → MEANING [unit] @test current in mA; "nothing": not understood
TABLE = """
Vis → visual
Vis. → visual
V.I. → visual
vis insp → visual
Push Btn → push_button
Btn → push_button
Rmk → remark
I trip → trip_current
Trip level → trip_current
I△n → rated_residual_current
I dn → rated_residual_current
ldn → rated_residual_current
Sens. → rated_residual_current
trip_0_x5_ms → trip_time_5x_0 [ms]
180 x 5 → trip_time_5x_180
5x0 → trip_time_5x_0
x1/2 → trip_time_0.5x
No trip 1/2 → trip_time_0.5x
Demi-onde positive → trip_time_1x_0
Trip time 1x 0° (ms) → trip_time_1x_0 [ms]
Trip Time (ms) 1x 180° → trip_time_1x_180 [ms]
1x 0° → trip_time_1x_0
x1 180° → trip_time_1x_180
1xIΔn 0° → trip_time_1x_0
IΔn x 5 (0°) → trip_time_5x_0
5 IΔn 180° (ms) → trip_time_5x_180 [ms]
5 × I∆n (0º) ms → trip_time_5x_0 [ms]
5x180 ms → trip_time_5x_180 [ms]
180° x5 → trip_time_5x_180
2x IΔn 0° → trip_time_2x_0
½ IΔn 0° → trip_time_0.5x_0
x½ → trip_time_0.5x
0.5x IΔn 180° → trip_time_0.5x_180
0,5 x 180° → trip_time_0.5x_180
Half rated 0° → trip_time_0.5x_0
Trip time at half rated current (ms) → trip_time_0.5x [ms]
Trip time @ IΔn → trip_time_1x
Trip time at rated current, 0 deg → trip_time_1x_0
Trip time at 5 times, 180 degrees → trip_time_5x_180
Fast trip 0° → trip_time_5x_0
Trip time (s) → trip_time_1x [s]
Tripping time, seconds → trip_time_1x [s]
Operating time ms 180 → trip_time_1x_180 [ms]
Disconnection time (ms) → trip_time_1x [ms]
Time to trip at 5x → trip_time_5x
Trip time (max 300 ms) → trip_time_1x [ms]
Trip time max (ms) → trip_time_1x_worst [ms]
Worst trip time 5x (ms) → trip_time_5x_worst [ms]
Trip time + (ms) → trip_time_1x_0 [ms]
Trip time - (ms) → trip_time_1x_180 [ms]
5x + → trip_time_5x_0
5x − → trip_time_5x_180
1x (+) → trip_time_1x_0
1x ↑ → trip_time_1x_0
1x ↓ → trip_time_1x_180
1x pos half-wave → trip_time_1x_0
Trip time neg half → trip_time_1x_180
Trip time, positive half cycle → trip_time_1x_0
+ half (ms) → trip_time_1x_0 [ms]
Trip time - 1x 0° → trip_time_1x_0
Trip time - half rated → trip_time_0.5x
Trip ms → trip_time_1x [ms]
Trip mA → trip_current [mA]
1x 0° pulsating → trip_time_1x_0_pulsating
Trip time 1x smooth d.c. → trip_time_1x_smooth_dc
30 mA 0° → trip_time_x_0 @30
150 mA 180° → trip_time_x_180 @150
250mA 0° (ms) → trip_time_x_0 [ms] @250
0.03 A 0° → trip_time_x_0 @30
0,03 A 180° → trip_time_x_180 @30
30mA (ms) → trip_time_x [ms] @30
Time to trip @ 15mA → trip_time_x @15
0°/180° → pair
1x 0° / 180° (ms) → pair [ms]
5x +/− → pair
Ramp (mA) → trip_current [mA]
Ramp trip current (A) → trip_current [A]
Tripping current mA → trip_current [mA]
IΔ (mA) → trip_current [mA]
Ramp 180° (mA) → trip_current_180 [mA]
IΔn → rated_residual_current
I∆n (mA) → rated_residual_current [mA]
Rated residual current (mA) → rated_residual_current [mA]
Sensitivity (A) → rated_residual_current [A]
Rating mA → rated_residual_current
Asset No. → device
Asset tag # → device
RCD ID → device
Test tag → device
Outlet No → outlet
GPO → outlet
Switchboard → board
Circuit No. → circuit
Site name → site
Location → location
Portable/fixed → kind
Model → model
Visual inspection → visual
Visual (P/F) → visual
Push-button test → push_button
Test button → push_button
Pass/Fail → declared
Result → declared
Tested by → technician
Instrument No. → instrument
Tester serial no. → instrument
Cal. due → calibration_due
Date tested → tested_at
Date & time → tested_at
Next test due → retest_due
Action taken → remedy
Comments / defects → remark
Half cycle → phase
Test multiple → multiple
Test current (mA) → test_current [mA]
Waveform → waveform
Measured value → value
Time of test → time
Touch voltage (V) → other_test
Loop impedance Zs (Ω) → other_test
Insulation (MΩ) → other_test
Leakage (mA) → other_test
6 mA d.c. → other_test
Manufacturer → ignore
Rated current (A) → ignore
Auslösezeit 1x 0° [ms] → trip_time_1x_0 [ms]
Auslösezeit 5-fach 180° → trip_time_5x_180
Abschaltzeit, halber Bemessungsstrom → trip_time_0.5x
Auslösezeit positive Halbwelle (ms) → trip_time_1x_0 [ms]
Auslösestrom (mA) → trip_current [mA]
Bemessungsdifferenzstrom → rated_residual_current
Nennfehlerstrom IΔn → rated_residual_current
Geräte-Nr. → device
Steckdose → outlet
Sichtprüfung → visual
Prüftaste → push_button
Geprüft von → technician
Messgerät → instrument
Kalibriert bis → calibration_due
Prüfdatum → tested_at
Nächste Prüfung → retest_due
Bemerkungen → remark
Temps de déclenchement 1x 0° (ms) → trip_time_1x_0 [ms]
5 fois 180° → trip_time_5x_180
Courant de déclenchement (mA) → trip_current [mA]
Courant différentiel assigné → rated_residual_current
Alternance négative (ms) → trip_time_1x_180 [ms]
Repère → device
Contrôle visuel → visual
Bouton test → push_button
Testé par → technician
Prochain contrôle → retest_due
Résultat → declared
Tiempo de disparo 5 veces 0° (ms) → trip_time_5x_0 [ms]
Corriente de disparo (mA) → trip_current [mA]
Sensibilidad (mA) → rated_residual_current [mA]
Dispositivo → device
Inspección visual → visual
Botón de prueba → push_button
Fecha → tested_at
Observaciones → remark
Tempo di intervento 5x 180° (ms) → trip_time_5x_180 [ms]
Corrente di intervento (mA) → trip_current [mA]
Corrente differenziale nominale → rated_residual_current
Dispositivo → device
Esame visivo → visual
Tasto di prova → push_button
Esito → declared
Data della prova → tested_at
Aanspreektijd 1x 0° (ms) → trip_time_1x_0 [ms]
Uitschakelstroom (mA) → trip_current [mA]
Nominale aanspreekstroom (mA) → rated_residual_current [mA]
Apparaat → device
Visuele controle → visual
Testknop → push_button
Getest door → technician
Volgende keuring → retest_due
Tempo de disparo 1x 180° (ms) → trip_time_1x_180 [ms]
Corrente de disparo (mA) → trip_current [mA]
Corrente diferencial nominal → rated_residual_current
Equipamento → device
Inspeção visual → visual
Botão de teste → push_button
Próximo ensaio → retest_due
T1 → nothing
1 → nothing
90° → nothing
max 300 ms → nothing
1x 5x 0° → nothing
Shape of the lid → nothing
"""
LINES = TABLE.strip().splitlines()
TODAY = dt.date(2026, 11, 25)

TIMES = ("28.4", "31.2", "19.8", "24.6", "27.1", "22.9")
CODES = ("WM-001", "WM-002", "WM-003", "WM-004", "WM-005", "WM-006")
CHECKS = ("ok", "ok", "fail", "ok", "ok", "ok")
NAMES = ("A. Snowfield", "B. Frost", "A. Snowfield", "B. Frost", "A. Snowfield", "A. Snowfield")
HELD = ("no trip", ">1999", "no trip", "no trip", ">1999", "no trip")
CELLS = {  # six plausible cells of each meaning
    "trip_time": TIMES,
    "trip_current": ("21.4", "22.8", "19.7", "23.1", "20.9", "24.2"),
    "pair": ("28/31", "31/29", "27/26", "22/29", "25/24", "21/23"),
    "rated_residual_current": ("30", "30", "10", "30", "100", "30"),
    "device": CODES,
    "outlet": ("1", "2", "3", "1", "2", "3"),
    "board": ("DB1", "DB1", "DB1", "DB2", "DB2", "DB2"),
    "circuit": ("C1", "C2", "C3", "C4", "C5", "C6"),
    "serial": ("SN88412", "SN88427", "SN88501", "SN88593", "SN88612", "SN88640"),
    "site": ("Winter market",) * 3 + ("Ice rink",) * 3,
    "location": ("Hall", "Hall", "Stage", "Stage", "Kitchen", "Kitchen"),
    "kind": ("portable", "fixed", "portable", "fixed", "fixed", "portable"),
    "model": ("four-way board", "in-line", "four-way board", "in-line", "in-line", "four-way board"),
    "waveform_type": ("AC", "A", "AC", "F", "A", "AC"),
    "rcd_type": ("I", "II", "IV", "S", "II", "I"),
    "delay": ("G", "S", "G", "G", "S", "G"),
    "class": ("I", "II", "I", "II", "I", "I"),
    "visual": CHECKS,
    "push_button": CHECKS,
    "declared": ("pass", "pass", "fail", "pass", "pass", "pass"),
    "technician": NAMES,
    "instrument": ("M-014", "M-014", "M-015", "M-014", "M-015", "M-014"),
    "tested_at": ("2026-11-20", "2026-11-20", "2026-11-21", "2026-11-21", "2026-11-22", "2026-11-22"),
    "calibration_due": ("2027-03-01",) * 6,
    "retest_due": ("2027-05-20",) * 6,
    "remedy": ("", "replaced", "", "", "", ""),
    "remark": ("", "lid loose", "", "", "", ""),
    "phase": ("0", "180") * 3,
    "multiple": ("1", "5") * 3,
    "test_current": ("30", "150") * 3,
    "waveform": ("a.c.", "pulsating") * 3,
    "value": TIMES,
    "time": ("09:14", "09:31", "09:40", "10:05", "10:12", "10:30"),
    "other_test": ("0.4", "0.5", "0.3", "0.4", "0.6", "0.5"),
    "ignore": ("grey", "black", "grey", "grey", "black", "black"),
    "nothing": TIMES,
}
BESIDE = (  # what stands in the table beside the column that is asked about, unless it means the same
    ("Asset", "device", CODES),
    ("RCD rating (mA)", "rated_residual_current", ("30",) * 6),
    ("Trip time 5x (ms)", "trip_time_5x", ("18.4", "19.2", "17.7", "21.0", "16.8", "18.8")),
)

Columns = Sequence[tuple[str, tuple[str, ...], Sequence[str]]]  # heading, headings above it, cells


def assigned(columns: Columns) -> list[Assigned]:
    headed = [Headed(i, 0, heading, groups) for i, (heading, groups, _) in enumerate(columns)]
    coded_columns = [coded(np.array(cells, dtype=object)) for _, _, cells in columns]
    profiles = [profile(c, np.arange(len(c.codes)), {}) for c in coded_columns]
    return assign(headed, profiles, rated_of(headed, profiles), TODAY).with_margins()


def in_table(heading: str, cells: Sequence[str], beside: str = "", groups: tuple[str, ...] = ()) -> Meaning:
    """What a column means in a small table; `beside`: a meaning that no other column has."""
    columns = [(h, (), c) for h, field, c in BESIDE if field != beside]
    at = 0 if beside == "device" else len(columns)
    return assigned([*columns[:at], (heading, groups, cells), *columns[at:]])[at].chosen.meaning


def row(*headings: str, groups: tuple[str, ...] | None = None, cells: Sequence[Sequence[str]] = ()) -> list[str]:
    """What columns mean beside each other, with times below each where nothing else is said."""
    above = [(g,) if g else () for g in groups or ("",) * len(headings)]
    columns = list(zip(headings, above, cells or [TIMES] * len(headings), strict=True))
    return [named(a.chosen.meaning) for a in assigned(columns)]


def one(heading: str, *groups: str) -> Meaning:
    """The strongest meaning of a heading alone, if it is strong enough to be taken."""
    told = from_heading(heading, groups)
    return told[0].meaning if told and told[0].heading >= weights()["decide"]["take"] else Meaning("")


def named(meaning: Meaning) -> str:
    """The slot of a reading, else the field, else "nothing"."""
    return meaning.slot.name if meaning.slot and meaning.field == "reading" else meaning.field or "nothing"


def plausible(meaning: str) -> Sequence[str]:
    return CELLS[meaning if meaning in CELLS else "trip_current" if meaning.startswith("trip_current") else "trip_time"]


def split(line: str) -> tuple[str, str, str, float]:
    """Heading, meaning, unit and test current of a line of the table."""
    heading, told = line.split(" → ")
    parts = re.fullmatch(r"(\S+)(?: \[(\w+)\])?(?: @(\d+))?", told)
    assert parts
    return heading, parts[1], parts[2] or "", float(parts[3] or "nan")


def test_the_table_is_long_enough() -> None:
    assert len(set(LINES)) >= 150


@pytest.mark.parametrize("line", LINES)
def test_headings_one_by_one(line: str) -> None:
    heading, meaning, unit, current = split(line)
    read = one(heading)
    assert (named(read), read.unit) == (meaning, unit)
    assert read.test_current == current or (math.isnan(current) and math.isnan(read.test_current))


@pytest.mark.parametrize("line", LINES)
def test_headings_one_by_one_with_plausible_cells(line: str) -> None:
    """Cells of what the heading says change nothing, and numbers make no reading of a heading that says nothing."""
    heading, meaning, unit, current = split(line)
    read = in_table(heading, plausible(meaning), beside=meaning)
    assert (named(read), read.unit) == (meaning, unit)
    assert read.test_current == current or (math.isnan(current) and math.isnan(read.test_current))


# ── the cells decide ──
@pytest.mark.parametrize(
    ("heading", "cells", "meaning"),
    [
        ("Test btn", CHECKS, "push_button"),
        ("T.B.", CHECKS, "push_button"),
        ("T.B.", NAMES, "technician"),
        ("P/B", CHECKS, "push_button"),
        ("Trips at", CELLS["trip_current"], "trip_current"),
        ("Trips at", ("112", "98", "143", "131", "87", "120"), "trip_time_1x"),
        ("Trip level", CELLS["trip_current"], "trip_current"),
        ("mA", CELLS["trip_current"], "trip_current"),
        ("mA", CELLS["rated_residual_current"], "rated_residual_current"),
        ("RCD mA", CELLS["rated_residual_current"], "rated_residual_current"),
        ("RCD mA", CELLS["trip_current"], "trip_current"),
        ("G/S", CELLS["delay"], "delay"),
        ("@ IΔn (ms)", TIMES, "trip_time_1x"),
        ("1/2 IΔn", HELD, "trip_time_0.5x"),
        ("x1/2", HELD, "trip_time_0.5x"),
        ("50% IΔn", HELD, "trip_time_0.5x"),
        ("IΔn/2", HELD, "trip_time_0.5x"),
        ("No trip 1/2", HELD, "trip_time_0.5x"),
        ("IΔnx1", TIMES, "trip_time_1x"),
        ("Ramp test", CELLS["trip_current"], "trip_current"),
        ("Date tested by", NAMES, "technician"),
        ("Tester", NAMES, "technician"),
        ("Time", CELLS["time"], "time"),
        ("Time", TIMES, "trip_time_1x"),
        ("Time (ms)", TIMES, "trip_time_1x"),
        ("Phase", ("0", "180°") * 3, "phase"),
        ("Phase", ("+", "-", "+") * 2, "phase"),
        ("Phase", ("L1", "L2", "L3") * 2, "outlet"),
        ("Class", CELLS["class"], "class"),
        ("Class", ("A", "AC") * 3, "waveform_type"),
        ("Type", ("AC", "A", "AC", "A", "A", "AC"), "waveform_type"),
        ("Type", ("A", "AC", "F") * 2, "waveform_type"),
        ("Type", CELLS["rcd_type"], "rcd_type"),
        ("Type", ("I", "II", "Type II") * 2, "rcd_type"),
        ("Type", CELLS["kind"], "kind"),
        ("Type", CELLS["model"], "model"),
        ("No.", CODES, "device"),
        ("No.", ("1", "2", "3", "4", "5", "6"), "device"),
    ],
)
def test_cells_settle_what_a_heading_leaves_open(heading: str, cells: Sequence[str], meaning: str) -> None:
    assert named(in_table(heading, cells, beside=meaning)) == meaning


@pytest.mark.parametrize(
    ("heading", "fields"),
    [
        ("Tester", {"technician", "instrument"}),
        ("Time", {"time", "reading"}),
        ("Phase", {"phase", "outlet"}),
        ("Type", {"waveform_type", "rcd_type", "delay", "kind", "model"}),
        ("No.", {"device", "ignore"}),
    ],
)
def test_what_a_heading_leaves_open_is_as_strong_either_way(heading: str, fields: set[str]) -> None:
    told = from_heading(heading)
    assert {c.meaning.field for c in told if c.heading == told[0].heading} == fields


def test_a_column_without_cells_takes_what_no_other_claims() -> None:
    blank = ("",) * 6
    _, tester, _ = assigned([("Asset", (), CODES), ("Tester", (), blank), ("1x 0°", (), TIMES)])
    assert tester.other is not None
    assert {named(tester.chosen.meaning), named(tester.other.meaning)} == {"technician", "instrument"}
    assert tester.margin == 0.0
    beside = row("Asset", "Tester", "Tested by", "1x 0°", cells=[CODES, blank, NAMES, TIMES])
    assert beside[1:3] == ["instrument", "technician"]


def test_a_heading_that_its_cells_contradict_is_not_taken() -> None:
    assert named(in_table("Trip time 1x 0° (ms)", CELLS["time"])) == "nothing"


def test_what_was_taken_for_granted_is_said() -> None:
    assert one("Trip time 0° (ms)").how == "no multiple given: read as 1×"
    assert one("1x 0° (lab)").how == "not understood in it: lab"
    assert one("Trip time 1x 0° (ms)").how == ""


# ── group headings and neighbours ──
def test_group_headings_complete_what_stands_below() -> None:
    groups = ("",) + ("Trip time (ms)",) * 2 + ("5x IΔn",) * 2 + ("30 mA",) * 2 + ("Ramp",)
    below = ("Asset", "0°", "180°", "0", "180", "+", "−", "mA")
    assert row(*below, groups=groups, cells=[CODES, *[TIMES] * 6, CELLS["trip_current"]]) == [
        "device", "trip_time_1x_0", "trip_time_1x_180", "trip_time_5x_0", "trip_time_5x_180", "trip_time_x_0",
        "trip_time_x_180", "trip_current",
    ]  # fmt: skip
    assert one("180", "Trip time at 1x (s)").unit == "s"
    assert one("0°", "150 mA").test_current == 150
    assert named(one("1", "Auslösezeit (ms)")) == "trip_time_1x"
    assert named(one("0°", "Courant de déclenchement (mA)")) == "trip_current_0"
    assert named(one("Asset No.", "Details of the device")) == "device"


def test_bare_neighbours_mean_phases_only_as_a_pair() -> None:
    cells = [CODES, TIMES, TIMES]
    assert row("Asset", "0", "180", cells=cells) == ["device", "trip_time_1x_0", "trip_time_1x_180"]
    assert row("Asset", "+", "−", cells=cells) == ["device", "trip_time_1x_0", "trip_time_1x_180"]
    for bare in ("0", "180", "-"):
        assert row("Asset", bare, cells=cells[:2]) == ["device", "nothing"]


def test_a_multiple_holds_for_the_bare_phase_to_its_right() -> None:
    assert row("5x 0°", "180°") == ["trip_time_5x_0", "trip_time_5x_180"]
    assert row("1x 0°", "180°", "5x 0°", "180°") == [f"trip_time_{m}x_{p}" for m in (1, 5) for p in (0, 180)]
    assert row("5x 0°", "Trip time at IΔn 180°") == ["trip_time_5x_0", "trip_time_1x_180"]
    both = assigned([("150 mA 0°", (), TIMES), ("180°", (), TIMES)])
    assert [a.chosen.meaning.test_current for a in both] == [150, 150]
    assert row("5x 0°", "0°") == ["trip_time_5x_0", "trip_time_1x_0"]


def test_a_running_number_is_not_the_device_where_another_column_is() -> None:
    count = ("1", "2", "3", "4", "5", "6")
    assert row("No.", "Asset ID", "1x 0°", cells=[count, CODES, TIMES]) == ["ignore", "device", "trip_time_1x_0"]
    assert row("No.", "1x 0°", cells=[count, TIMES]) == ["device", "trip_time_1x_0"]


# ── --column and column files ──
FIELDS = [str(f["name"]) for f in data.document("test-sheet.json")["fields"]]


@pytest.mark.parametrize("name", [*FIELDS, "trip_time_2x_0_pulsating", "trip_current_180", "ignore", "phase", "value"])
def test_every_field_can_be_stated(name: str) -> None:
    assert named(stated(name)) == name
    assert named(stated(f" {name} ")) == name


def test_stated_units_and_headings() -> None:
    assert (named(stated("trip_time_5x_180 [s]")), stated("trip_time_5x_180 [s]").unit) == ("trip_time_5x_180", "s")
    assert stated("trip_current[A]").unit == "A"
    assert (named(stated("trip time 0 [s]")), stated("trip time 0 [s]").unit) == ("trip_time_1x_0", "s")
    assert named(stated("Auslösezeit 5x 180°")) == "trip_time_5x_180"


@pytest.mark.parametrize(
    ("wrong", "near"),
    [("calibraton_due", "calibration_due"), ("trip_time_1x_90", "trip_time_1x_0")],
)
def test_a_slip_in_a_stated_meaning_is_answered_with_near_names(wrong: str, near: str) -> None:
    with pytest.raises(UsageError, match=near):
        stated(wrong)


@pytest.mark.parametrize("wrong", ["", "T1", "Tester", "trip current (ms)", "zzz"])
def test_what_means_nothing_or_two_things_cannot_be_stated(wrong: str) -> None:
    with pytest.raises(UsageError, match="no meaning of a column"):
        stated(wrong)


def test_column_files(tmp_path: Path) -> None:
    path = tmp_path / "columns.toml"
    path.write_text('[columns]\n"T1" = "trip_time_1x_0 [s]"\n"North!T2" = "ignore"\n', encoding="utf-8")
    assert column_file(path) == (("T1", "trip_time_1x_0 [s]"), ("North!T2", "ignore"))


@pytest.mark.parametrize(
    ("text", "said"),
    [
        ("[columns", "is no TOML file"),
        ('"T1" = "ignore"', r"needs one table \[columns\]"),
        ('[columns]\n"T1" = "ignore"\n[other]\n', r"needs one table \[columns\]"),
        ('columns = "T1"', r"needs one table \[columns\]"),
        ('[columns]\n"T1" = "calibraton_due"', "“T1”.*calibration_due"),
        ('[columns]\n"T1" = 5', "“T1”"),
    ],
)
def test_errors_of_column_files(tmp_path: Path, text: str, said: str) -> None:
    path = tmp_path / "columns.toml"
    path.write_text(text, encoding="utf-8")
    with pytest.raises(SettingsError, match=said):
        column_file(path)


def test_column_files_that_cannot_be_read(tmp_path: Path) -> None:
    with pytest.raises(SettingsError, match="could not be read"):
        column_file(tmp_path / "none.toml")
    path = tmp_path / "latin.toml"
    path.write_bytes(b'[columns]\n"Pr\xfcfer" = "technician"\n')
    with pytest.raises(SettingsError, match="is no TOML file"):
        column_file(path)


# ── properties ──
@settings(max_examples=150, deadline=None)
@given(st.text(max_size=60), st.text(max_size=40), st.lists(st.text(max_size=12), max_size=5))
@example("x", "", [])
@example("½", "5", ["∆"])
@example("x5", "x", ["²"])
@example("١ x ٢", "٣", [""])
@example("1.0.5 A", "9" * 50 + " A", [])
def test_any_text_is_answered(heading: str, group: str, cells: list[str]) -> None:
    both = assigned([(heading, (group,), cells), (group, (), cells)])
    assert [a.column.heading for a in both] == [heading, group]
    assert all(a.chosen.weight >= weights()["decide"]["take"] or not a.chosen.meaning.field for a in both)


@settings(max_examples=100, deadline=None)
@given(st.text(max_size=40))
def test_any_statement_is_a_meaning_or_a_clear_error(text: str) -> None:
    try:
        assert stated(text).field
    except UsageError as error:
        assert "no meaning of a column" in str(error)


HEADINGS = [line.split(" → ")[0] for line in LINES]


def strongest(heading: str) -> set[tuple[object, str]]:
    """The meanings that a heading says most strongly, with their units."""
    told = from_heading(heading)
    return {(c.key, c.meaning.unit) for c in told if c.heading == told[0].heading}


@pytest.mark.parametrize("heading", HEADINGS)
def test_spacing_case_and_punctuation_never_change_the_meaning(heading: str) -> None:
    meanings = strongest(heading)
    lines = heading.replace(" ", "\n", 1)
    square = heading.replace("(", "[").replace(")", "]")
    signed = any(sign in heading for sign in "+-")  # beside a bare sign, brackets tell
    plain = heading if signed else heading.replace("(", "").replace(")", "")
    spaced = (f"  {heading.replace(' ', '   ')} ", heading.replace(" ", "\u00a0"), lines)
    for other in (heading.upper(), heading.lower(), *spaced, f"{heading} :", f"{heading}*", square, plain):
        assert strongest(other) == meanings, other
