"""What headings mean, in seven languages: common practice, no source."""

from __future__ import annotations

import math
import re
from pathlib import Path

import pytest
from hypothesis import example, given, settings
from hypothesis import strategies as st

from rcdcheck import data
from rcdcheck.errors import SettingsError, UsageError
from rcdcheck.intake.headings import Meaning, column_file, meanings, settle, stated

# HEADING → MEANING [unit] @test current in mA ?candidates; "nothing": not understood
TABLE = """
Trip time 1x 0° (ms) → trip_time_1x_0 [ms]
Trip Time (ms) 1x 180° → trip_time_1x_180 [ms]
1x 0° → trip_time_1x_0
x1 180° → trip_time_1x_180
1xIΔn 0° → trip_time_1x_0
IΔn x 5 (0°) → trip_time_5x_0
IΔnx1 → trip_time_1x
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
Time (ms) → trip_time_1x [ms]
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
Ramp test → trip_current
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
S/N → serial
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
Date tested by → technician
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
Tester → technician ?technician,instrument
Time → time ?time,reading
Phase → phase ?phase,outlet
Class → class ?class,rcd_type
Type → waveform_type ?waveform_type,rcd_type,delay,kind,model
No. → device ?device,ignore
# → device ?device,ignore
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
ms → nothing
mA → nothing
(ms) → nothing
30 mA → nothing
1 → nothing
90° → nothing
max 300 ms → nothing
Trip current (ms) → nothing
Trip time (mA) → nothing
1x (mA) → nothing
IΔn (ms) → nothing
1x 5x 0° → nothing
Colour of the lid → nothing
"""
LINES = TABLE.strip().splitlines()


def one(heading: str, group: str = "") -> Meaning:
    return meanings([heading], [group])[0]


def named(meaning: Meaning) -> str:
    """The slot of a reading, else the field, else "nothing"."""
    return meaning.slot.name if meaning.slot and meaning.field == "reading" else meaning.field or "nothing"


def row(*headings: str, groups: tuple[str, ...] | None = None) -> list[str]:
    return [named(m) for m in meanings(headings, groups or ("",) * len(headings))]


def test_the_table_is_long_enough() -> None:
    assert len(set(LINES)) >= 150


@pytest.mark.parametrize("line", LINES)
def test_headings_one_by_one(line: str) -> None:
    heading, told = line.split(" → ")
    parts = re.fullmatch(r"(\S+)(?: \[(\w+)\])?(?: @(\d+))?(?: \?(\S+))?", told)
    assert parts
    read = one(heading)
    assert named(read) == parts[1]
    assert read.unit == (parts[2] or "")
    assert read.test_current == float(parts[3]) if parts[3] else math.isnan(read.test_current)
    assert read.candidates == tuple(parts[4].split(",") if parts[4] else ())


def test_what_was_taken_for_granted_is_said() -> None:
    assert one("Trip time 0° (ms)").how == "no multiple given: read as 1×"
    assert one("1x 0° (lab)").how == "not understood in it: lab"
    assert one("Trip time 1x 0° (ms)").how == ""
    assert "contradict" in one("Trip current (ms)").how


# ── group headings and neighbours ──
def test_group_headings_complete_what_stands_below() -> None:
    groups = ("Trip time (ms)",) * 2 + ("5x IΔn",) * 2 + ("30 mA",) * 2 + ("Ramp",)
    below = ("0°", "180°", "0", "180", "+", "−", "mA")
    assert row(*below, groups=groups) == [
        "trip_time_1x_0", "trip_time_1x_180", "trip_time_5x_0", "trip_time_5x_180", "trip_time_x_0", "trip_time_x_180",
        "trip_current",
    ]  # fmt: skip
    assert one("180", "Trip time at 1x (s)").unit == "s"
    assert one("0°", "150 mA").test_current == 150
    assert named(one("1", "Auslösezeit (ms)")) == "trip_time_1x"
    assert named(one("0°", "Courant de déclenchement (mA)")) == "trip_current_0"
    assert row("OK", "OK", groups=("Visual", "Test button")) == ["visual", "push_button"]
    assert named(one("Asset No.", "Details of the device")) == "device"


def test_bare_neighbours_mean_phases_only_as_a_pair() -> None:
    assert row("Asset", "0", "180") == ["device", "trip_time_1x_0", "trip_time_1x_180"]
    assert row("Asset", "+", "−") == ["device", "trip_time_1x_0", "trip_time_1x_180"]
    assert row("Asset", "0") == ["device", "nothing"]
    assert row("Asset", "180") == ["device", "nothing"]
    assert row("Asset", "-") == ["device", "nothing"]


def test_a_multiple_holds_for_the_bare_phase_to_its_right() -> None:
    assert row("5x 0°", "180°") == ["trip_time_5x_0", "trip_time_5x_180"]
    assert row("1x 0°", "180°", "5x 0°", "180°") == [f"trip_time_{m}x_{p}" for m in (1, 5) for p in (0, 180)]
    assert row("5x 0°", "Trip time at IΔn 180°") == ["trip_time_5x_0", "trip_time_1x_180"]
    assert [m.test_current for m in meanings(["150 mA 0°", "180°"], ["", ""])] == [150, 150]
    assert row("5x 0°", "0°") == ["trip_time_5x_0", "trip_time_1x_0"]


def test_numbers_that_perhaps_count_tests_are_no_multiples() -> None:
    assert row("Test 1 0°", "T5 0°") == ["nothing", "nothing"]  # five times, or the fifth test? asked
    assert row("Trip time 2 (ms)") == ["trip_time_1x"]


def test_a_running_number_is_not_the_device_where_another_column_is() -> None:
    assert row("No.", "Asset ID", "1x 0°") == ["ignore", "device", "trip_time_1x_0"]
    assert row("No.", "1x 0°") == ["device", "trip_time_1x_0"]


# ── the cells decide ──
@pytest.mark.parametrize(
    ("heading", "cells", "field"),
    [
        ("Tester", ["A. Snowfield", "B. Frost"], "technician"),
        ("Tester", ["M-014", "M-015"], "instrument"),
        ("Tester", [], "technician"),
        ("Time", ["09:14", "9:31", "10.05"], "time"),
        ("Time", ["28.4", "31.2"], "trip_time_1x"),
        ("Phase", ["0", "180°"], "phase"),
        ("Phase", ["+", "-", "+"], "phase"),
        ("Phase", ["L1", "L2", "L3"], "outlet"),
        ("Class", ["I", "II"], "class"),
        ("Class", ["A", "AC"], "waveform_type"),
        ("Type", ["A", "AC", "F"], "waveform_type"),
        ("Type", ["I", "II", "Type II"], "rcd_type"),
        ("Type", ["S", "G"], "delay"),
        ("Type", ["portable", "fixed"], "kind"),
        ("Type", ["four-way board", "in-line"], "model"),
        ("No.", ["WM-001", "WM-002"], "device"),
        ("No.", ["1", "2", "3"], "device"),
    ],
)
def test_cells_settle_what_a_heading_leaves_open(heading: str, cells: list[str], field: str) -> None:
    assert named(settle(one(heading), cells)) == field


def test_a_column_without_cells_takes_what_no_other_claims() -> None:
    assert settle(one("Tester"), [], {"technician"}).field == "instrument"
    assert settle(one("Tester"), ["A. Snowfield"], {"technician"}).field == "technician"


def test_what_is_plain_is_left_alone() -> None:
    plain = one("Trip time 1x 0° (ms)")
    assert settle(plain, ["09:14"]) is plain


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
    [("techncian", "technician"), ("calibraton_due", "calibration_due"), ("trip_time_1x_90", "trip_time_1x_0")],
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
        ('[columns]\n"T1" = "techncian"', "“T1”.*technician"),
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
    for meaning in meanings([heading, group], [group, ""]):
        settle(meaning, cells)


@settings(max_examples=100, deadline=None)
@given(st.text(max_size=40))
def test_any_statement_is_a_meaning_or_a_clear_error(text: str) -> None:
    try:
        assert stated(text).field
    except UsageError as error:
        assert "no meaning of a column" in str(error)


HEADINGS = [line.split(" → ")[0] for line in LINES]


def same(a: Meaning, b: Meaning) -> bool:
    alike = (a.field, a.slot, a.unit, a.candidates) == (b.field, b.slot, b.unit, b.candidates) or (
        a.slot is not None and b.slot is not None and (a.field, named(a), a.unit) == (b.field, named(b), b.unit)
    )
    return alike and (a.test_current == b.test_current or (math.isnan(a.test_current) and math.isnan(b.test_current)))


@pytest.mark.parametrize("heading", HEADINGS)
def test_spacing_case_and_punctuation_never_change_the_meaning(heading: str) -> None:
    meaning = one(heading)
    lines = heading.replace(" ", "\n", 1)
    square = heading.replace("(", "[").replace(")", "]")
    signed = any(sign in heading for sign in "+-")  # beside a bare sign, brackets tell
    plain = heading if signed else heading.replace("(", "").replace(")", "")
    spaced = (f"  {heading.replace(' ', '   ')} ", heading.replace(" ", "\u00a0"), lines)
    for other in (heading.upper(), heading.lower(), *spaced, f"{heading} :", f"{heading}*", square, plain):
        assert same(one(other), meaning), other
