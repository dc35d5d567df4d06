"""What a remark says: a fault, a remedy that is done, a plan, no access, nothing, or something not understood."""

from __future__ import annotations

import time

import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from rcdcheck.intake.cells.phrases import listed
from rcdcheck.intake.cells.remarks import Said, loud, said

HARMLESS = [
    "spare key with caretaker", "4-way board", "kitchen", "ok", "tested with load off", "label renewed", "SN 445-1129",
    "next test due March", "blue lead 10 m", "hot water circuit", "wet area RCD", "burner control panel", "nil",
    "smoke alarm circuit", "green tag fitted", "trip hazard sign near board", "tested twice, same result",
    "no problems", "looks good", "ramp not tested", "no trip at half rated current", "0.5x no trip", "tag missing",
    "new label to be fitted", "label to be replaced", "loose label",
    "loose label on board", "ask for Dave at the gate", "tested by K. Burns", "board off for 5 min", "no comments",
    "tested on 2 attempts", "IR >500 M", "outlet behind wickiup", "Quillfeather", "lead of Maria Tannwald",
    "box in loose tools cupboard", "Schlüssel beim Hausmeister", "Gehäuse unbeschädigt", "neuer Aufkleber", "RAS",
    "clé chez le gardien",
    "chauffe-eau", "sin novedad", "agua caliente", "piano terra", "nessun difetto", "groepenkast gang", "água quente",
]  # fmt: skip
FAULTS = [
    "cracked housing", "smells of burning", "took 2 goes to trip", "plug top smashed", "wired wrong", "runs hot",
    "neutral and earth swapped", "didn't trip first time", "button stiff", "box was wet inside", "buzzing noise",
    "RCD bypassed", "red tag", "won't latch", "lid missing", "tripped on third push", "had to press twice",
    "only tripped after warming up", "not safe", "cover won't close properly", "earth not connected", "no trip",
    "N and L swapped", "trips at half rated current", "fine now", "loose in wall", "trips early", "FAULTY!!",
    ">300 on 180", "label on lid loose", "Gehäuseriss",
    "Gehäuse gerissen", "löst erst beim zweiten Mal aus", "N und PE vertauscht",
    "schaltet nicht ab", "odeur de brûlé",
    "ne déclenche pas", "mal câblé", "fiche cassée", "huele a quemado", "botón atascado", "no dispara", "non scatta",
    "spina rotta", "neutro e terra invertiti", "schakelt niet uit", "stekker kapot", "verkeerd aangesloten",
    "caixa rachada", "não dispara", "mal ligado",
]  # fmt: skip
PLANS = [
    "client to have it replaced", "to be replaced", "should have been replaced", "RCD on order", "needs new lead",
    "replacement required", "owner to repair", "awaiting parts", "replace asap", "to be withdrawn", "not yet repaired",
    "wird ersetzt", "Austausch erforderlich", "à remplacer", "pendiente de cambiar", "da sostituire", "te vervangen",
    "a substituir", "might have been replaced", "replaced when parts arrive", "replaced: no", "replaced? not yet",
    "replaced like for like next visit", "könnte ersetzt worden sein", "ersetzt: nein", "remplacé : non",
    "podría ser sustituido", "sostituito appena possibile? non ancora", "misschien vervangen", "talvez substituído",
]  # fmt: skip
NO_REMEDIES = [
    "tag changed", "label replaced", "cleaned and fine now", "withdrawn", "new battery in tester", "made safe",
    "new label fitted", "neue Plakette", "étiquette changée", "etiqueta cambiada", "etichetta sostituita",
    "nieuwe sticker", "etiqueta trocada", "photo taken", "owner told", "replaced?", *PLANS,
]  # fmt: skip
REPAIRED = [
    "cracked lid, lid replaced", "plug smashed, new plug fitted", "no trip, RCD replaced and retested ok",
    "faulty unit exchanged", "replaced broken flap", "RCD replaced, was cracked", "tested after repair",
    "Stecker defekt, ausgetauscht", "fiche cassée, remplacée", "enchufe roto, sustituido", "spina rotta, sostituita",
    "stekker kapot, vervangen", "ficha partida, substituída", "loose terminal, tightened", "plug loose, tightened",
    "Klemme lose - nachgezogen", "borne desserrée, resserrée", "losse klem aangedraaid",
    "overheating at terminal, tightened",
]  # fmt: skip
NOT_OF_THIS_FAULT = [
    "RCD replaced does not trip",
    "plug smashed, lead replaced", "no trip, lid replaced", "RCD replaced, still no trip", "lid replaced, pin bent",
    "button stuck, fan replaced", "lid replaced still cracked", "plug cracked and cord frayed, plug replaced",
    "RCD replaced. Does not trip", "cracked housing, screws tightened", "did not trip, terminals tightened",
    "burnt, tightened", "Gehäuse gerissen, Klemmen nachgezogen", "boîtier fissuré, bornes resserrées",
    "carcasa rota, bornes apretados", "did not trip, polarity corrected",
]  # fmt: skip
STRANGE = [
    "glorbed", "makes the cat nervous", "a bit iffy", "lever wobbly-ish", "feels funny", "I don't like the look of it",
    "does not zorb", "lid does not seal", "komisches Verhalten", "comportement bizarre", "doet raar",
]  # fmt: skip


def test_most_remarks_say_nothing_of_the_device() -> None:
    assert {text: found for text in HARMLESS if (found := said(text)) != Said()} == {}


@pytest.mark.parametrize("texts", [FAULTS, PLANS, NOT_OF_THIS_FAULT])
def test_faults_and_plans_stay_open(texts: list[str]) -> None:
    assert [text for text in texts if not said(text).open_fault] == []
    assert [text for text in texts if not said(text.upper()).open_fault] == []


@pytest.mark.parametrize("after", NO_REMEDIES)
def test_what_is_no_remedy_leaves_every_fault_open(after: str) -> None:
    assert [text for text in FAULTS if not said(f"{text}, {after}").open_fault] == []
    assert said(after).remedy == ""


@pytest.mark.parametrize("text", REPAIRED)
def test_a_fault_that_was_mended_is_told_and_no_longer_open(text: str) -> None:
    assert (said(text).open_fault, bool(said(text).remedy)) == ("", True)


PARTS_ONLY = ["tightened", "screws tightened", "nachgezogen", "resserré", "plug replaced", "new lead", "lid replaced"]


def test_what_was_tightened_and_a_new_part_do_not_mend_how_a_device_trips() -> None:
    assert [text for text in PARTS_ONLY if said(text).of_device] == []
    assert [text for text in ("replaced", "repaired", "ersetzt", "remplacé") if not said(text).of_device] == []


def test_the_first_words_that_say_a_thing_are_shown_for_it() -> None:
    for text, shown in {
        "no access, not tested": Said(no_access="no access", unreached="no access"),
        "scrapped, later removed": Said(out_of_use="scrapped", withdrawn="scrapped"),
        "replaced? not yet": Said(open_fault="replaced"),
        "cracked lid, plug smashed, plug replaced": Said("cracked", "cracked", "replaced"),
        "did not trip, RCD exchanged": Said("not trip", "", "exchanged", "exchanged"),
    }.items():
        assert said(text) == shown, text


@given(st.sampled_from(HARMLESS), st.sampled_from(FAULTS + PLANS), st.sampled_from([", ", ". ", "; ", " - ", "\n"]))
@settings(max_examples=300, deadline=None)
def test_nothing_harmless_beside_it_hides_a_fault(harmless: str, fault: str, between: str) -> None:
    assert said(f"{harmless}{between}{fault}").open_fault
    assert said(f"{fault}{between}{harmless}").open_fault


@given(st.sampled_from([p for p in listed("fault") if p.replace("*", "").isalpha()]), st.sampled_from(FAULTS))
@settings(max_examples=200, deadline=None)
def test_a_denied_fault_is_none_and_denies_no_other(word: str, fault: str) -> None:
    denied = f"no signs of {word.replace('*', '')}"
    assert said(denied).open_fault == ""
    assert said(f"{denied}, {fault}").open_fault


@pytest.mark.parametrize("text", STRANGE)
def test_a_remark_that_is_not_understood_says_so(text: str) -> None:
    assert said(text).unknown or said(text).open_fault


def test_no_access_that_readings_contradict_is_told_from_a_board_that_is_kept_locked() -> None:
    for text in ("no access, not tested", "could not get in", "nicht geprüft", "pas d'accès"):
        assert said(text).no_access
        assert said(text).unreached
    for text in ("stall locked", "door locked", "local fermé"):
        assert said(text).no_access
        assert not said(text).unreached
    for text in ("ramp not tested", "locked cupboard in kitchen", "unlocked"):
        assert not said(text).no_access


LOUD = [
    "FAIL", "Failed", "NOK", "n.i.O.", "défectueux", ">1999", "> 300 ms", "O/L", "OL", "∞", "✗", "no trip", "cracked",
    "did not trip", "löst nicht aus", "non conforme", "to be replaced", "over range", "failed: see note",
]  # fmt: skip
QUIET = [
    "", "F", "N", "0", "x", "no", "nein", "non", "false", "28.4", "1999", ">299", ">500 MΩ", "kitchen", "fault loop",
    "K. Burns", "cracked, replaced", "not cracked", "no trip at 0.5x", "Type A", "30 mA", "N/T", "-", "???",
]  # fmt: skip


def test_a_cell_that_says_something_failed_is_heard_in_any_column() -> None:
    assert [text for text in LOUD if not loud(text)] == []
    assert [text for text in QUIET if loud(text)] == []


@given(st.text(max_size=60))
@settings(max_examples=200, deadline=None)
def test_any_text_has_an_answer(text: str) -> None:
    assert all(isinstance(part, str) for part in (*said(text), loud(text)))


def test_a_hundred_thousand_remarks_take_seconds_and_long_ones_are_no_trap() -> None:
    long = ["no not the of " * 2_000, "K X " * 2_000, "took 2 goes " * 2_000, "replaced " * 3_000, "a" * 20_000]
    began = time.perf_counter()
    for text in [*long, *(f"{HARMLESS[i % len(HARMLESS)]} {i}" for i in range(20_000))]:
        said(text)
    assert time.perf_counter() - began < 8  # half a second on a free machine
