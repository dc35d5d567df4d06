"""What cells of words mean: yes/no results, and remarks. Common practice, no source."""

from __future__ import annotations

import datetime as dt
from collections.abc import Callable

import numpy as np
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from rcdcheck.findings import catalogue
from rcdcheck.intake.cells.phrases import known, listed
from rcdcheck.intake.cells.readings import fault_words, no_access, out_of_use, remedy_words, repeat_words
from rcdcheck.intake.cells.whole_columns import read_flags
from rcdcheck.tables import Texts
from rcdcheck.terms import Flag


def column(*cells: object) -> Texts:
    out = np.empty(len(cells), dtype=object)
    out[:] = cells
    return out


# ── results ──
PASS = [
    "pass", "Pass", "PASSED", "P", "ok", "OK.", "O.K.", "okay", "good", "y", "Yes", "true", "TRUE", "1", 1.0,
    "✓", "✔", "☑", "√", "bestanden", "i.O.", "iO", "in Ordnung", "ja", "J", "keine Mängel", "ohne Befund",
    "conforme", "oui", "bon", "sí", "si", "apto", "sì", "superato", "idoneo", "goed", "goedgekeurd", "voldoet",
    "sim", "aprovado", "no defects", "no damage", "undamaged", " pass\u00a0",
]  # fmt: skip
FAIL = [
    "fail", "Failed", "F", "no", "N", "false", "0", 0.0, "✗", "✘", "not ok", "NOK", "not passed", "n.i.O.",
    "niO", "nicht bestanden", "nein", "durchgefallen", "defekt", "mangelhaft", "Mängel", "non conforme", "non",
    "échec", "défectueux", "no conforme", "no apto", "non superato", "non idoneo", "guasto", "fout",
    "afgekeurd", "nee", "não", "reprovado", "cracked", "lead cracked", "failed: plug broken",
    "Fail - see remark", "defekt, Gehäuse gerissen", "fail then pass", "no earth",
    "broken pin", "Riss im Gehäuse", "damage to lead", "loose",
]  # fmt: skip
BLANK = ["", " ", "\u00a0", "-", "—", "n/a", "not tested", "nicht geprüft", "n.v.t.", "k.A."]
UNCLEAR = [
    "x", "X", "?", "pass?", "maybe", "see note", "2", 2.0, "0.5", "---", "passed after cleaning",
    "ok, new plug needed soon", "not cracked", "A", "P/F", "28.4", "☐", "ditto", '"',
    dt.datetime(2026, 11, 20), "ok 28.4", "C", "NC", "pass but cracked", "Pass (button stiff)",
]  # fmt: skip


@pytest.mark.parametrize(
    ("typed", "flag"),
    [*((t, Flag.PASS) for t in PASS), *((t, Flag.FAIL) for t in FAIL), *((t, Flag.BLANK) for t in BLANK),
     *((t, Flag.UNCLEAR) for t in UNCLEAR)],
    ids=repr,
)  # fmt: skip
def test_yes_no_cells(typed: object, flag: Flag) -> None:
    read = read_flags(column(typed))
    assert read.flag[0] == flag
    assert read.problem[0] == ("result-not-understood" if flag == Flag.UNCLEAR else "")


def test_tripped_is_a_pass_only_under_a_test_button() -> None:
    cells = column("tripped", "ausgelöst", "did not trip", "ok")
    assert read_flags(cells, button=True).flag.tolist() == [Flag.PASS, Flag.PASS, Flag.FAIL, Flag.PASS]
    assert read_flags(cells).flag.tolist() == [Flag.UNCLEAR, Flag.UNCLEAR, Flag.FAIL, Flag.PASS]


def test_no_word_for_pass_is_also_one_for_fail_or_names_a_fault() -> None:
    assert not known("pass") & (known("fail") | known("not_measured"))
    assert [phrase for phrase in listed("pass") if fault_words(phrase)] == []


# ── remarks ──
FAULT = [
    "cracked", "lead cracked near plug", "Crack in housing", "sticky button", "tripped 2nd press",
    "only tripped on second press", "did not trip", "does not reset", "burn marks", "broken, replaced",
    "no label, cracked", "no label and cracked", "not tested before, loose pin", "No. 4 cracked",
    "fault found", "cracked: yes", "no spare, defective", "Riss im Gehäuse", "Gehäuse gerissen", "klemmt",
    "defekt", "Stecker defekt, nicht ersetzt", "löst nicht aus", "boîtier fissuré", "défectueux",
    "bouton bloqué", "carcasa rota y enchufe dañado", "no dispara", "spina rotta", "non interviene",
    "stekker gebroken", "schakelt niet uit", "tomada partida", "não disparou", "noch defekt", "n.i.O.",
    "not working", "no fault but cracked", "not bad, one pin loose", "visual ok. crack at rear",
    "keine Plakette, aber defekt",
]  # fmt: skip
NO_FAULT = [
    "", "ok", "not cracked", "no cracks", "no visible cracks", "no signs of damage", "no evidence of damage",
    "no cracks or damage", "no obvious external damage", "without defects", "free of defects",
    "free from damage", "cracks: none", "damage none", "defects nil", "never failed", "not damaged",
    "undamaged", "did not fail", "keine Mängel", "ohne Mängel", "keine sichtbaren Schäden", "nicht defekt",
    "Mängel: keine", "sans défaut", "aucun dommage visible", "défauts : néant", "sin defectos",
    "sin daños visibles", "nessun difetto", "senza difetti", "geen gebreken", "zonder schade", "sem defeitos",
    "fault loop 0.4 ohm", "fail-safe contactor", "earth fault relay upstream",
    "residual fault current path ok", "Fehlerstromschutzschalter", "boucle de défaut ok", "crackers stall",
    "new lead", "site wet", "moved to stall 4", "cutlery stall", "kitchen, hot plate", "aardfout beveiliging",
]  # fmt: skip
REMEDY = [
    "replaced", "plug replaced", "cracked, replaced", "did not trip, replaced on site",
    "did not trip replaced with new unit", "repaired", "new plug fitted", "Stecker ersetzt",
    "Mangel beseitigt", "ausgetauscht", "wurde ersetzt", "ist repariert worden", "remplacé",
    "sustituido", "sostituito", "vervangen", "substituído", "not working, replaced", "replaced after failing",
]  # fmt: skip
NO_REMEDY = [
    "", "cracked", "to be replaced", "needs to be replaced", "must be repaired", "not repaired",
    "not yet replaced", "never replaced", "should be replaced soon", "will be repaired", "new plug required",
    "new lead ordered", "muss ersetzt werden", "nicht ersetzt", "soll getauscht werden",
    "noch nicht repariert", "à remplacer", "doit être remplacé", "pas remplacé", "pendiente, no sustituido",
    "da sostituire", "non sostituito", "te vervangen", "moet vervangen worden", "não substituído",
    "please replace", "withdrawn from use", "mis hors service", "scrapped", "cleaned", "made safe", "label replaced",
    "batteries changed in tester", "tag changed", "client to have it replaced", "should have been replaced",
]  # fmt: skip


@pytest.mark.parametrize("remark", FAULT, ids=repr)
def test_a_remark_that_names_a_fault(remark: str) -> None:
    assert fault_words(remark)


@pytest.mark.parametrize("remark", NO_FAULT, ids=repr)
def test_a_remark_that_names_none(remark: str) -> None:
    assert fault_words(remark) == ""


@pytest.mark.parametrize("remark", REMEDY, ids=repr)
def test_a_remark_that_names_a_remedy(remark: str) -> None:
    assert remedy_words(remark)


@pytest.mark.parametrize("remark", NO_REMEDY, ids=repr)
def test_a_remedy_that_has_still_to_happen_is_none(remark: str) -> None:
    assert remedy_words(remark) == ""


OTHERS: list[tuple[Callable[[str], str], list[str], list[str]]] = [
    (no_access, ["no access", "room locked", "could not access, key missing", "kein Zugang", "Raum verschlossen",
    "pas d'accès",
                 "introuvable", "sin acceso", "nessun accesso", "geen toegang", "sem acesso", "in use", "Not found"],
     ["", "access ok", "not locked", "unlocked", "found in store", "used in kitchen",
     "in use by stall 4 since March"]),
    (out_of_use, ["scrapped", "removed from site", "out of service", "decommissioned", "Removed", "ausgemustert",
    "außer Betrieb",
                  "mis au rebut", "dado de baja", "dismesso", "buiten gebruik", "abatido"],
     ["", "removed cover and tested", "not scrapped", "in service", "spare plug fitted"]),
    (repeat_words, ["retested", "re-test", "repeat", "2nd test", "second attempt", "wiederholt", "2. Messung",
    "nouvel essai",
                    "segunda prueba", "ripetuto", "hertest", "repetido"],
     ["", "retest due 2027", "Re-test date March", "Wiederholungsprüfung 2027", "not repeated", "first test"]),
]  # fmt: skip


@pytest.mark.parametrize(("asks", "yes", "no"), OTHERS)
def test_other_remarks(asks: Callable[[str], str], yes: list[str], no: list[str]) -> None:
    assert [remark for remark in yes if not asks(remark)] == []
    assert [remark for remark in no if asks(remark)] == []


@pytest.mark.parametrize(
    ("asks", "table"),
    [
        (fault_words, "fault"),
        (remedy_words, "remedy"),
        (repeat_words, "repeat"),
        (no_access, "no_access"),
        (out_of_use, "out_of_use"),
    ],
)
def test_every_listed_phrase_is_found_alone_and_in_capitals(asks: Callable[[str], str], table: str) -> None:
    phrases = [p.replace(" *", " x").replace("*", "") for p in listed(table)]
    assert [p for p in phrases if not all(map(asks, (p, p.upper(), f"stall 4: {p}; see photo")))] == []


@given(cell=st.one_of(st.text(max_size=20), st.floats(allow_nan=False), st.datetimes(), st.times(), st.timedeltas()))
@settings(max_examples=150, deadline=None)
def test_any_cell_has_an_answer_and_none_raises(cell: object) -> None:
    assert read_flags(column(cell)).problem[0] in {"", *catalogue()}
    if isinstance(cell, str):
        assert all(
            isinstance(ask(cell), str) for ask in (fault_words, remedy_words, no_access, out_of_use, repeat_words)
        )
