"""Files that were broken on the way: cut off, torn by a line break, parted by a comma. What was spoilt never passes.

One device of eight lets go at 301.5 ms (a general type must within 300 ms: IEC 61008-1 table 1); wherever its line
is broken, no device but the seven others may pass.
"""

from __future__ import annotations

import pytest
from audits_here import AuditsHere
from files_made import saved
from openpyxl import Workbook

HEADINGS = "Device,Rated IΔn (mA),Visual,1× 0° (ms),1× 180° (ms)"
MORE = ",Ramp (mA),Tested by,Date"
OTHERS = [f"K{i},30,pass,2{i}.4,2{i}.9" for i in (1, 2, 3, 5, 6, 7, 8)]
SPOILT = "K4,30,pass,24.4,301.5"
AFTER = ",22.4,A. Snowfield,2026-11-20"
GOOD = {line.split(",")[0] for line in OTHERS}


def passed(here: AuditsHere, lines: list[str], end: str = "\n", newline: str = "\n") -> set[str]:
    """Devices that pass in a file of these lines."""
    content = newline.join(lines) + end
    return {device for device, outcome in here.of_file(content.encode()).items() if outcome == "pass"}


@pytest.mark.parametrize("more", ["", AFTER])
def test_a_file_that_is_cut_off_at_any_byte_of_its_last_line(audits_here: AuditsHere, more: str) -> None:
    headings = HEADINGS + (MORE if more else "")
    others = [line + more for line in OTHERS]
    for cut in range(1, len(SPOILT + more)):
        assert passed(audits_here, [headings, *others, (SPOILT + more)[:cut]], end="") <= GOOD, cut


def test_a_whole_file_with_and_without_its_last_line_break(audits_here: AuditsHere) -> None:
    lines = [HEADINGS + MORE, *(line + AFTER for line in OTHERS)]
    for end in ("", "\n", "\r\n"):
        assert passed(audits_here, lines, end=end) == GOOD
    assert passed(audits_here, [HEADINGS, *OTHERS], end="") == GOOD - {"K8"}  # may have been 28.95


@pytest.mark.parametrize(
    ("more", "newline", "stray", "first"),
    [
        ("", "\n", "\n", OTHERS[0]),
        (AFTER, "\r\n", "\r\n", OTHERS[0]),
        (
            AFTER,
            "\n",
            "\r",
            OTHERS[0].replace("pass", '"pass,\nstamp ""7"""'),
        ),  # a whole cell of two lines hides nothing
    ],
)
def test_a_line_break_at_any_place_of_a_line(
    audits_here: AuditsHere, more: str, newline: str, stray: str, first: str
) -> None:
    headings = HEADINGS + (MORE if more else "")
    before, behind = [line + more for line in (first, *OTHERS[1:3])], [line + more for line in OTHERS[3:]]
    whole = SPOILT + more
    spoilt = [whole[:at] + stray + whole[at:] for at in range(1, len(whole))]
    spoilt += [whole[:at] + stray + whole[at : at + 2] + newline + whole[at + 2 :] for at in range(1, len(whole) - 2)]
    spoilt += (
        [whole.replace("301.5", f"30{stray}1.5").replace(",22.4", end) for end in ("22.4", ",22.4,")] if more else []
    )
    files = [newline.join([headings, *before, line, *behind, ""]) for line in [whole, *spoilt]]
    found = audits_here.of_files([text.replace("K", f"V{number}K").encode() for number, text in enumerate(files)])
    passes = [device for device, outcome in found.items() if outcome == "pass"]
    assert {device.partition("K")[2] for device in passes} <= {device[1:] for device in GOOD}
    assert {device for device in passes if device.startswith("V0K")} >= {f"V0{device}" for device in GOOD - {"K1"}}


@pytest.mark.parametrize("stray", ["\n", "\r"])
def test_a_line_break_and_a_delimiter_lost_where_one_time_is_enough(audits_here: AuditsHere, stray: str) -> None:
    """Under rules that ask for one time at the rated current, the failing one may stand in the rest of the line."""
    lost = (SPOILT + AFTER).replace("301.5,", "301.5")
    spoilt = [lost[:at] + stray + lost[at:] for at in range(1, len(lost))]
    others = [line + AFTER for line in OTHERS]
    files = ["\n".join([HEADINGS + MORE, *others[:3], line, *others[3:], ""]) for line in spoilt]
    contents = [text.replace("K", f"V{number}K").encode() for number, text in enumerate(files)]
    found = audits_here.of_files(contents, "--rules", "uk-present")
    passes = {device.partition("K")[2] for device, outcome in found.items() if outcome == "pass"}
    assert passes == {device[1:] for device in GOOD}


@pytest.mark.parametrize("more", ["", AFTER])
def test_a_decimal_comma_without_quotation_marks(audits_here: AuditsHere, more: str) -> None:
    headings = HEADINGS + (MORE if more else "")
    for spoilt in ("K4,30,pass,24,4,301,5", "K4,30,pass,24.4,301,5", "K4,30,pass,24,4,301.5"):
        lines = [headings, *(line + more for line in OTHERS[:3]), spoilt + more, *(line + more for line in OTHERS[3:])]
        assert passed(audits_here, lines) <= GOOD, spoilt


def test_a_decimal_comma_without_quotation_marks_in_every_line(audits_here: AuditsHere) -> None:
    lines = [line.replace(".", ",") for line in (*OTHERS, SPOILT)]
    assert not passed(audits_here, [HEADINGS, *lines])


def test_lines_that_were_pasted_into_one_column_or_parted_by_another_sign(audits_here: AuditsHere) -> None:
    headings, others, whole = HEADINGS + MORE, [line + AFTER for line in OTHERS], SPOILT + AFTER
    files = [[headings, *others[:3], *(whole[:at] + "\n" + whole[at:]).split("\n"), *others[3:]]
             for at in range(1, len(whole))]  # fmt: skip
    files += [[headings, *others, spoilt] for spoilt in (whole.replace("301.5", "30,1.5"), whole.replace(".", ","))]
    lines = [[line.replace("K", f"V{number}K") for line in file] for number, file in enumerate(files)]
    found = audits_here.of_files(["\n".join([*file, ""]).encode() for file in lines], "--delimiter", ";")
    for number, file in enumerate(lines):
        book = Workbook()
        for line in file:
            book.worksheets[0].append([line.replace("V", "W")])
        found |= audits_here.of_file(saved(book), name=f"{number}.xlsx") if number % 5 == 0 else {}
    passes = {device.partition("K")[2] for device, outcome in found.items() if outcome == "pass"}
    assert passes == {device[1:] for device in GOOD}
    for cut in range(len("K4,30,pass,24.4,"), len(SPOILT)):
        text = "\n".join([HEADINGS, *OTHERS, SPOILT[:cut]]).encode()
        assert audits_here.of_file(text, "--delimiter", ";").get("K4") != "pass", cut
