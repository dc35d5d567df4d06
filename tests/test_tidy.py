"""The five lines of the README, and frames that agree with the document, which another part of the program writes."""

from __future__ import annotations

import datetime as dt
import re

import pandas as pd
import pytest
from whole_runs import DAY, ROOT, AuditJson

from rcdcheck import audit, frames
from rcdcheck.options import Options
from rcdcheck.tidy import Frames

SAMPLE = ROOT / "samples" / "messy-day.xlsx"


@pytest.fixture(scope="module")
def found() -> Frames:
    return frames(audit([SAMPLE], Options(as_of=dt.date.fromisoformat(DAY))))


def test_the_lines_of_the_readme_run(monkeypatch: pytest.MonkeyPatch, capsys: pytest.CaptureFixture[str]) -> None:
    readme = (ROOT / "README.md").read_text(encoding="utf-8")
    lines = re.search(r"```python\n(.*?)```", readme, re.S)
    assert lines is not None and len([line for line in lines[1].splitlines() if line]) == 5
    monkeypatch.chdir(ROOT)
    exec(lines[1], {})
    said = capsys.readouterr().out
    assert "next_action" in said and re.search(r"pass +\d\d", said) and re.search(r"180 +\d+", said)


def test_frames_say_what_the_document_says(found: Frames, audit_json: AuditJson) -> None:
    document = audit_json(SAMPLE, "--readings", "all", "--tests", "all")
    for name, key in (("devices", "name"), ("tests", "name"), ("readings", "typed")):
        rows, frame = document[name], getattr(found, name)
        names = [one["device"] if name == "devices" else one[key] for one in rows]
        assert sorted(frame[key]) == sorted(names)
        word = "verdict" if name == "readings" else "outcome"
        assert frame[word].value_counts().to_dict() == pd.Series([one[word] for one in rows]).value_counts().to_dict()
    assert sorted(found.findings["code"]) == sorted(one["code"] for one in document["findings"])
    limits = found.readings["limit"].dropna().sum()
    assert limits == pytest.approx(sum(one["limit"] or 0 for one in document["readings"]))


def test_rows_of_one_frame_lead_to_those_of_another(found: Frames) -> None:
    of_tests = found.devices["name"].to_numpy()[found.tests["device"]]
    assert (found.tests["name"] == of_tests).mean() > 0.9  # the others are typed another way in one of their tests
    assert set(found.tests["file"]) == {SAMPLE.name}
    assert set(found.tests["visual"]) <= {"pass", "fail", "blank", "absent", "unclear"}
    failed = found.readings.loc[found.readings["verdict"] == "fail", "test"].unique()
    assert len(failed) and set(found.tests["outcome"][failed]) == {"fail"}
