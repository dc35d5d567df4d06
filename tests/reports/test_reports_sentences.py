"""Sentences read by someone who has not written them: none, one and many of each thing, on every face."""

from __future__ import annotations

import io
import re
import string
from pathlib import Path

import openpyxl
import pytest
from excel_books import audit_of
from html_pages import Read

from rcdcheck.audits import Audit
from rcdcheck.findings import catalogue
from rcdcheck.reports import FORMATS, report_bytes
from rcdcheck.reports.console import Screen, summary
from rcdcheck.reports.heading import Heading

HEAD = "Device,Site,Location,Rated (mA),Visual,Test button,0° 1x (ms),180° 1x (ms),Ramp (mA),Date,Tested by,Remark"
GOOD = ("48.2", "61.7", "22.9")
KINDS = {  # what a row of each kind holds: visual, both times, ramp, remark
    "passes": ("pass", *GOOD, ""),
    "fails": ("pass", "48.2", "no trip", "22.9", ""),
    "was not looked over": ("", *GOOD, ""),
    "lacks a phase": ("pass", "48.2", "", "22.9", "supply switched off"),
    "has a slip": ("pass", "4B.2", "61.7", "22.9", ""),
    "could not be reached": ("", "", "", "", "no access"),
    "says something odd": ("pass", *GOOD, "see the foreman's list"),
}
NOUNS = ("rows|devices|tests|readings|cells|columns|sheets|files|places|causes|questions|outlets|visits|inputs|"
         "findings|doubts|remarks|answers|kinds|dates|names|times")  # fmt: skip
ONE_AS_MANY = re.compile(rf"(?<![\w.,–-])1 (?:more )?(?:{NOUNS})\b")
MANY_AS_ONE = re.compile(
    rf"(?<![\w.,×+])(?<!\+ )(?:0|[2-9]|\d\d+) (?:{'|'.join(n[:-1] for n in NOUNS.split('|'))})\b(?!-)"
)
MANY_VERB = re.compile(r"^2 [a-z]+ (?:is|has|was|says|holds|states|lies|stands|makes|does)\b")


def faces(audit: Audit) -> dict[str, list[str]]:
    """Every face as sentences, also those of the client."""
    out = {"terminal": [" ".join(summary(audit, [], verbose=True, on=Screen(140)).split())]}
    for audience in ("office", "client"):
        heading = Heading(audience=audience)
        out[f"page, {audience}"] = Read(b"".join(report_bytes("html", audit, heading)).decode()).said.splitlines()
        book = openpyxl.load_workbook(io.BytesIO(b"".join(report_bytes("xlsx", audit, heading))))
        out[f"workbook, {audience}"] = [str(c.value) for ws in book for row in ws.iter_rows() for c in row if c.value]
    return out


@pytest.mark.parametrize("n", [0, 1, 2])
@pytest.mark.parametrize("kind", list(KINDS))
def test_no_face_counts_one_as_many_or_many_as_one(kind: str, n: int, tmp_path: Path) -> None:
    visual, first, second, ramp, remark = KINDS[kind]
    rows = [f"A{i},North,Stall {i},30,{visual},pass,{first},{second},{ramp},2026-11-20,A. Snowfield,{remark}"
            for i in range(n)]  # fmt: skip
    path = tmp_path / "day.csv"
    path.write_text("\n".join([HEAD, *rows]), encoding="utf-8")
    for face, texts in faces(audit_of(str(path))).items():
        for text in texts:
            for wrong in (*ONE_AS_MANY.finditer(text), *MANY_AS_ONE.finditer(text)):
                pytest.fail(f"{face}: {text[max(0, wrong.start() - 60) : wrong.end() + 40]}")


def test_every_sentence_of_the_catalogue_is_whole_with_one_and_with_many() -> None:
    """A sentence ends, has no doubled sign, and the one for several speaks of several."""
    for code, kind in catalogue().items():
        words = {name: "2" for _, name, _, _ in string.Formatter().parse(kind.message) if name}
        for text in (kind.message.format(**words), kind.why, kind.do, kind.many.format(n=2) if kind.many else ""):
            assert not text or re.search(r"[.?”2]$", text.strip()), (code, text)
            assert not re.search(r"[{}]|\.\.|  | [.,;:](?!\w)", text), (code, text)
        if kind.settled == "desk":
            assert "{n}" in kind.many, code
            assert MANY_VERB.search(kind.many.format(n=2)) is None, (code, kind.many)


def test_every_face_is_among_them() -> None:
    """A new format is to be read here too; JSON and tags hold no sentence that counts."""
    assert set(FORMATS) == {"html", "xlsx", "json", "tags"}
