"""The page of an audit, read back by a parser that did not write it (html.parser of the standard library)."""

from __future__ import annotations

import base64
import hashlib
import re
from pathlib import Path

import pytest
from excel_books import HEADING, SAMPLES, audit_of, sample
from html_pages import HOSTILE, Read, empty_audit, hostile_audit, page_of, text_of, tiled

from rcdcheck import frames
from rcdcheck.reports import facts, json_document
from rcdcheck.reports.html import method as html_method
from rcdcheck.reports.html import people
from rcdcheck.scrutiny import method
from rcdcheck.terms import Outcome

DAY_SAMPLES = ["honest-day.csv", "messy-day.xlsx"]


@pytest.mark.parametrize("name", DAY_SAMPLES)
def test_the_page_counts_what_the_json_document_counts(name: str) -> None:
    read = Read(page_of(name))
    document = json_document.document(sample(name))
    counts = {f"{kind}.{word}": n for kind, words in document["counts"].items() for word, n in words.items()}
    assert {key: read.counts[key] for key in counts} == {key: {str(n)} for key, n in counts.items()}
    assert read.counts["grade"] == {document["grades"]["batch"]["grade"]}
    assert read.counts["fingerprint"] == {document["run"]["fingerprint"]}
    failed = [d["device"] for d in document["devices"] if d["outcome"] == "fail"]
    assert read.counts["to_do.withdraw"] == {str(len(failed))}
    rows = [attributes for tag, attributes in read.tags if tag == "tbody" and "data-outcome" in attributes]
    assert [row["data-name"] for row in rows if row["data-outcome"] == "fail"] == failed
    assert len(rows) == counts["devices.all"]


def test_what_to_do_comes_first_then_credibility_then_the_detail() -> None:
    order = [a["id"] for tag, a in Read(page_of("honest-day.csv")).tags if tag == "section" and "id" in a]
    wanted = ["act-now", "credibility", "pictures", "devices", "findings", "rows", "limits", "method", "cautions"]
    assert order == wanted
    inner = [
        a["id"] for tag, a in Read(page_of("honest-day.csv")).tags if tag == "h3" and a.get("id", "").startswith("act.")
    ]
    assert inner == ["act.withdraw", "act.go_back", "act.desk", "act.due"]


def test_where_three_people_or_more_tested_the_page_opens_with_them() -> None:
    """A line for each person, with tests, outcomes, grade, doubts, what could not be asked, and what to do."""
    text = page_of("doubtful-month").replace("\u00a0", " ")
    assert [a["id"] for tag, a in Read(text).tags if tag == "section" and "id" in a][:2] == ["people", "act-now"]
    table = text[text.index('id="people"') : text.index('id="act-now"')]
    assert people.HEAD[:2] == ("Tested by", "What to do")  # what a phone shows of it
    for person, *figures in people.people(sample("doubtful-month")):
        row = next(line for line in table.split("<tr") if person in line)
        assert len(figures) == len(people.HEAD) - 1 and all(figure in row for figure in figures)


def test_the_most_dangerous_failure_stands_first() -> None:
    audit = sample("honest-day.csv")
    ranks = [item.danger or 99 for item in facts.of(audit).withdraw]
    assert ranks == sorted(ranks) and len(ranks) == audit.counts()["devices"]["fail"]


def test_limits_are_printed_with_source_and_standing() -> None:
    audit, said = sample("honest-day.csv"), Read(page_of("honest-day.csv")).said
    for limit in audit.limits.itertuples():
        assert limit.text in said and limit.source in said and limit.standing in said


def test_the_policy_lets_in_one_style_and_one_script_and_nothing_from_elsewhere() -> None:
    """W3C Content Security Policy Level 3: a hash source is the base64 of the SHA-256 of the element's text."""
    text = page_of("honest-day.csv")
    read = Read(text)
    policy = next(a["content"] for tag, a in read.tags if a.get("http-equiv") == "Content-Security-Policy")
    for kind in ("style", "script"):
        digest = base64.b64encode(hashlib.sha256(read.inside[kind].encode()).digest()).decode()
        assert f"{kind}-src 'sha256-{digest}'" in policy
    assert policy.startswith("default-src 'none'") and "unsafe" not in policy
    assert not re.search(r"(?:src|href)=\"(?!#)|https?://|url\((?!#)|@import", text)
    assert not any("style" in a or any(name.startswith("on") for name in a) for _, a in read.tags)


def test_a_page_is_the_same_each_time_and_knows_no_folder() -> None:
    audit = sample("honest-day.csv")
    assert text_of(audit) == text_of(audit)
    assert str(SAMPLES) not in page_of("honest-day.csv")


def test_hostile_texts_stay_texts(tmp_path: Path) -> None:
    read = Read(text_of(hostile_audit(tmp_path)))
    assert sum(tag == "script" for tag, _ in read.tags) == 1 and not any(tag in ("img", "b-") for tag, _ in read.tags)
    plain = Read(page_of("honest-day.csv"))
    assert {tag for tag, _ in read.tags} <= {tag for tag, _ in plain.tags} | {"details", "summary", "article"}
    for text in HOSTILE:
        assert text.replace("\u202e", "\\u202e") in read.said
    assert "\u202e" not in read.said
    links = {a["href"] for tag, a in read.tags if tag == "a"}
    assert links and all(link.startswith("#") for link in links)
    ids = [a["id"] for _, a in read.tags if "id" in a]
    assert len(ids) == len(set(ids)) and {link[1:] for link in links} <= {*ids}


def test_a_fail_never_looks_equal_to_its_limit(tmp_path: Path) -> None:
    path = tmp_path / "close.csv"
    head = "Device,Rated IΔn (mA),RCD type,Trip time 1× 0° (ms),Trip time 1× 180° (ms),Ramp trip current (mA)\n"
    path.write_text(head + "A,30,II,300.000001,20.1,30.00004\n", encoding="utf-8")
    audit = audit_of(str(path))
    assert audit.devices["outcome"].tolist() == [Outcome.FAIL]
    said = Read(text_of(audit)).said
    assert "300.000001" in said and "30.00004" in said


def test_the_head_names_client_and_preparer_and_the_day() -> None:
    said = Read(page_of("messy-day.xlsx")).said
    for text in (HEADING.title, HEADING.client, HEADING.prepared_by, "2026-11-25"):
        assert text in said


def test_an_audit_of_nothing_says_so(tmp_path: Path) -> None:
    said = Read(text_of(empty_audit(tmp_path))).said
    assert "No device could be read." in said
    assert "locked.xlsx could not be audited: it is locked" in said
    for line in ("bring salt", "ask for the key"):
        assert line in said


def test_the_client_gets_nothing_on_credibility_or_pace() -> None:
    text = page_of("messy-day.xlsx", "client")
    said = Read(text).said.casefold()
    for word in ("doubt", "credib", "grade", "honest", "suspicio", "too fast", "declared as passed"):
        assert word not in said, word
    for words in ("Signature", "Licence", "Action taken", "Calibration due", "Not tested", "Cautions", "Sites"):
        assert words.casefold() in said
    audit = sample("messy-day.xlsx")
    assert audit.rules.edition.casefold() in said
    failed = audit.devices.loc[audit.devices["outcome"] == Outcome.FAIL, "name"]
    defects = text[text.index('id="defects"') : text.index('id="not-tested"')]
    assert all(name in defects for name in failed)


@pytest.mark.parametrize("audience", ["office", "client"])
def test_people_become_letters_and_the_key_is_left_out(audience: str) -> None:
    audit = sample("honest-day.csv")
    names = {str(n) for n in frames(audit).tests["technician"] if n}
    open_, hidden = (page_of("honest-day.csv", audience, hide_names=hide) for hide in (False, True))
    assert names and all(name in open_ for name in names)
    for name in names:
        assert name not in hidden and name.split()[-1] not in hidden
    assert "Person A" in hidden and "Person B" in hidden
    assert Read(hidden).counts == Read(open_).counts


@pytest.mark.long
def test_of_thirty_thousand_devices_every_failed_one_is_listed_once_and_the_rest_stays_small() -> None:
    """A sheet in which three devices of four need attention, made large by repeating its audit."""
    audit = sample("messy-day.xlsx")
    large = tiled(audit, -(-30_000 // len(audit.devices)))
    text = text_of(large)
    assert len(large.devices) >= 30_000
    failed = large.devices.loc[large.devices["outcome"] == Outcome.FAIL, "name"]
    assert set(failed) <= set(re.findall(r">([^<>]+)<", text))
    assert len(text.encode()) < 3_000_000 + 700 * len(failed)
    read = Read(text)
    assert read.counts["devices.fail"] == {str(large.counts()["devices"]["fail"])}
    assert f"1,000 devices of {len(large.devices):,} listed" in read.said and "--devices all" in read.said
    circles = [a for tag, a in read.tags if tag == "circle" and a.get("class") == "circle"]
    assert 0 < len(circles) < 5_000


def test_past_two_thousand_devices_what_needs_attention_is_listed_and_the_rest_counted() -> None:
    audit = sample("honest-day.csv")
    large = tiled(audit, -(-2_001 // len(audit.devices)))
    read = Read(text_of(large))
    listed = [a["data-outcome"] for tag, a in read.tags if tag == "tbody" and "data-outcome" in a]
    counts = large.counts()["devices"]
    assert "pass" not in listed and len(listed) == len(large.devices) - counts["pass"]
    assert read.counts["devices.pass"] == {str(counts["pass"])}


def test_no_text_grows_without_end(tmp_path: Path) -> None:
    path = tmp_path / "long.csv"
    long = "x" * 30_000
    lines = [f"D{n},{long}{n},20.1,30.1" for n in range(40)]
    path.write_text("Device,Remark,Trip time 1× 0° (ms),Trip time 1× 180° (ms)\n" + "\n".join(lines), encoding="utf-8")
    assert len(text_of(audit_of(str(path)))) < 1_000_000


def test_the_letter_of_questions_lists_cells_and_draws_no_conclusion() -> None:
    audit, text = sample("messy-day.xlsx"), page_of("messy-day.xlsx")
    letter = Read(text[text.index('<section id="letter"') : text.index('<footer class="end"')])
    contradicted = audit.reasons[audit.reasons["code"] == "declared-pass-contradicted"]
    assert len(contradicted)
    rows = {int(n) for part in re.findall(r"[\d–]+", letter.said) for n in spread(part)}
    assert set(audit.tables.tests["row"].iloc[contradicted["test"]]) <= rows
    for word in ("doubt", "suspic", "chance", "honest", "invent", "fals", "fail", "contradict", "strong"):
        assert word not in letter.said.casefold(), word


def spread(part: str) -> list[int]:
    """Numbers of `5–9` or `12`."""
    ends = [int(n) for n in part.split("–") if n]
    return list(range(ends[0], ends[-1] + 1)) if ends and ends[-1] < 10_000 else []


def test_the_method_prints_what_the_benchmark_measured() -> None:
    """A document as tests/bench/calibration.py writes it, with figures of its own."""
    rate = {"count": 3, "of": 80_000, "rate": 3 / 80_000, "low": 7.7e-06, "high": 1.096e-04}
    levels = dict.fromkeys(("any note or doubt", "any doubt", "any strong doubt"), rate)
    measured = {
        "command": "python tests/bench/calibration.py",
        "level": 0.001,
        "sizes": [20, 500],
        "large": {"devices": 5000, **levels},
        "false_alarms": {
            "pooled": levels,
            "questions": {"copied-block": {**rate, "worst_kind": "usual fleet", "worst_rate": 0.002}},
        },
        "power": [{"style": "dragged down", "step_ms": 0.1, "per_cent": {"any doubt": [12.5, 100.0]}}],
    }
    alarms, questions, power = html_method.tables(measured)
    assert alarms[2][0][1] == "3 of 80,000: 0.0037 % (0.00077 to 0.011 %)"
    assert questions[2] == [("copied block", alarms[2][0][1], "usual fleet", "0.2 %")]
    assert power[2] == [("dragged down", "0.1 ms", "12.5", "100")]
    for caption, head, rows in (alarms, questions, power):
        assert caption and all(len(row) == len(head) for row in rows)


def test_the_page_holds_the_measured_figures_where_there_are_any() -> None:
    said = Read(page_of("honest-day.csv")).said
    assert ("How often scrutiny is wrong" in said) == bool(html_method.calibration())
    assert not [sentence for sentence in method.figures() if sentence not in said]


def test_the_clock_times_of_a_fast_stretch_stand_on_the_page(tmp_path: Path) -> None:
    """Each with its row, device and site, and how long after the one before."""
    rows = "".join(
        f"Q{i:02},North row,30,24.{i},2{i % 7}.1,A. Stall,Meter 2,2026-11-20 09:00:{4 * i:02}\n" for i in range(12)
    )
    head = "Device,Site,Rated IΔn (mA),1× 0° (ms),1× 180° (ms),Tested by,Instrument,Tested at\n"
    (tmp_path / "fast.csv").write_text(head + rows, encoding="utf-8")
    text = text_of(audit_of(str(tmp_path / "fast.csv")))
    times = text[text.index("In order of their clock times") :]
    shown = [re.findall(r"<t[hd][^>]*>([^<]*)<", line)[:5] for line in times.split("<tr>")[2:14]]
    assert [line[1:] for line in shown] == [
        [f"Q{i:02}", "North row", f"2026-11-20 09:00:{4 * i:02}", "4 s" if i else ""] for i in range(12)
    ]


def test_the_page_names_what_would_hardly_be_seen() -> None:
    """As many ways as the sentence beside the grade counts."""
    text = page_of("untidy-month").replace("\u00a0", " ")
    said = re.search(r"simulated ways of making readings up (\d+) raise a doubt", text)
    named = text[text.index("of making readings up that would hardly be seen here") :].split("</details>")[0]
    assert said and named.count('<th scope="row">') == int(said[1]) > 0
    assert "180° copied from 0°, all" in named
