"""Which tests are of one device and of one visit, against the same said in plain Python, name by name."""

from __future__ import annotations

from datetime import date, timedelta
from pathlib import Path
from types import SimpleNamespace
from typing import Any, cast

import numpy as np
import pandas as pd
import pytest
from hypothesis import example, given, settings
from hypothesis import strategies as st
from small_sheets import HEAD, audited

from rcdcheck.identity import folded, number_visits, perhaps_alike, plain
from rcdcheck.options import Options
from rcdcheck.pipeline import run
from rcdcheck.tables import Tables

NAMES = st.lists(st.text("aAß07-. \x1e12", max_size=4), max_size=8)
LIKE_OTHERS = st.lists(
    st.sampled_from(["K01", "K1", "k-1", "K10", "K100", "K 1", "1.05", "1.5", "K02", ""]), max_size=8
)
DIGITS = st.lists(st.integers(90, 120).map(str), max_size=6)


def coded(names: list[str]) -> tuple[np.ndarray[Any, Any], np.ndarray[Any, Any]]:
    """Codes into a vocabulary that begins with the empty text, and the vocabulary."""
    words = list(dict.fromkeys(["", *names]))
    return np.array([words.index(name) for name in names], dtype=np.int32), np.array(words, dtype=object)


def same(numbers: Any, keys: list[Any]) -> bool:
    """Whether numbers are equal exactly where keys are."""
    pairs = set(zip(np.asarray(numbers).tolist(), keys, strict=True))
    return len(pairs) == len({number for number, _ in pairs}) == len({key for _, key in pairs})


@example(["a\x1ea", "b"])
@given(NAMES | LIKE_OTHERS | DIGITS)
def test_names_without_case_are_one_number_and_no_name_is_none(names: list[str]) -> None:
    numbers = folded(*coded(names))
    assert same(numbers, [name.casefold() for name in names])
    assert [number == 0 for number in numbers.tolist()] == [name == "" for name in names]


@pytest.mark.parametrize(
    ("first", "second", "alike"),
    [("K01", "K1", True), ("K-1", "k 1", True), ("K001", "K01", True), ("K10", "K1", False), ("K100", "K10", False),
     ("1.05", "1.5", False), ("0", "00", True), ("K0", "K", False), ("A/1", "A\u00a01", True),
     ("Strasse", "Straße", True)],
)  # fmt: skip
def test_signs_spaces_case_and_leading_zeros_make_no_other_name(first: str, second: str, alike: bool) -> None:
    """Of two boards somebody wrote K01 and K1: common practice, no source."""
    names = plain(np.array([first, second], dtype=object))
    assert (names[0] == names[1]) == alike
    with_a_separator = plain(np.array([first + "\x1e", second + "\x1e"], dtype=object))
    assert (with_a_separator[0] == with_a_separator[1]) == alike


@example(["-11", " 11"], [0])
@example(["K-1", "K 1"], [0])
@example(["01-11", "11-01"], [0])
@example(["011-20", "112-00"], [0])
@given(NAMES | LIKE_OTHERS | DIGITS, st.lists(st.integers(0, 3), min_size=1))
def test_devices_are_perhaps_alike_where_their_plain_names_are(names: list[str], places: list[int]) -> None:
    site = [places[i % len(places)] % 2 for i in range(len(names))]
    board = [places[i % len(places)] // 2 for i in range(len(names))]
    codes, words = coded(names)
    tables = cast(Tables, SimpleNamespace(texts=lambda codes: words[np.asarray(codes)]))
    found = perhaps_alike(tables, pd.DataFrame({"device": codes, "site": site, "board": board}))
    keys = [(*at, str(plain(np.array([name], dtype=object))[0])) for *at, name in zip(site, board, names, strict=True)]
    several = [keys.count(key) > 1 and key[-1] != "" for key in keys]
    assert [number >= 0 for number in found.tolist()] == several
    told = [i for i, one in enumerate(several) if one]
    assert same(found[told], [keys[i] for i in told])


@example([(0, 0), (0, 1), (0, 3), (0, 4)])
@example([(0, 0), (0, 1), (0, 2)])
@settings(deadline=None)
@given(st.lists(st.tuples(st.integers(0, 2), st.none() | st.integers(0, 12)), max_size=12))
def test_a_visit_begins_with_a_day_and_ends_with_the_next(tests: list[tuple[int, int | None]]) -> None:
    """Two days at most, and no chain of days: the rule of README.md. Tests without a date are of the last visit."""
    days = [None if day is None else date(2026, 11, 2) + timedelta(day) for _, day in tests]
    frame = pd.DataFrame({"tested_at": np.array(days, dtype="datetime64[s]")})
    found = number_visits(frame, np.array([device for device, _ in tests], dtype=np.int32))
    visit, begun = -1, (-1, -9)
    for i in sorted(range(len(tests)), key=lambda i: (tests[i][0], tests[i][1] is None, tests[i][1])):
        device, day = tests[i]
        if device != begun[0] or (day is not None and day - begun[1] > 1):
            visit, begun = visit + 1, (device, -9 if day is None else day)
        assert found[i] == visit


@pytest.mark.parametrize(
    ("here", "there", "identity", "count"),
    [
        ({"Site": "North"}, {"Site": "north"}, "site", 1),
        ({"Site": "North"}, {"Site": "South"}, "site", 2),
        ({"Site": "North"}, {"Site": "South"}, "fleet", 1),
        ({"Site": "North", "Board": "B1"}, {"Site": "North", "Board": "B2"}, "site", 2),
        ({}, {}, "site", 2),  # of two files without a site nobody knows whether they are of one
        ({}, {}, "fleet", 1),
        ({"Site": "7"}, {"Site": "7"}, "site", 1),
        ({"Site": "North"}, {}, "site", 2),
    ],
)
def test_a_device_is_known_by_its_site_and_board_or_by_its_file(
    here: dict[str, str], there: dict[str, str], identity: str, count: int, tmp_path: Path
) -> None:
    for name, said, time in (("one", here, "24.1"), ("two", there, "24.6")):
        cells = {"Device": "K1", **said, "Visual": "pass", "1× 0° (ms)": time, "1× 180° (ms)": "25.3"}
        (tmp_path / f"{name}.csv").write_text(f"{','.join(cells)}\n{','.join(cells.values())}\n", encoding="utf-8")
    audit = run([str(tmp_path / f"{name}.csv") for name in ("one", "two")], Options(identity=identity))
    assert audit.devices["tests"].tolist() == ([2] if count == 1 else [1, 1])


def test_a_test_without_readings_is_never_the_same_listed_again() -> None:
    rows = [["D1", "pass", "", ""], ["D2", "pass", "24.1", ""], ["D3", "pass", "24.1", "25.3"]]
    audit = audited([*HEAD, "1× 0° (ms)", "1× 180° (ms)"], *rows, *rows)
    assert audit.test_outcomes["counted"].tolist() == [True, True, True, True, False, False]
