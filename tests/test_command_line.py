"""The command line: groups, near names, a firm's choices in a file, completion, and no report of a mistyped input."""

from __future__ import annotations

import os
import re
import subprocess
import sys
from pathlib import Path

import pytest
from whole_runs import DAY, ROOT, Run

from rcdcheck.cli import COMMANDS

SHEET = "Device,Rated IΔn (mA),Visual,1× 0° (ms),1× 180° (ms)\nA1,30,pass,24.1,25.0\n"
PNG = bytes.fromhex("89504e470d0a1a0a")  # PNG, RFC 2083 section 3.1: the first eight bytes


@pytest.fixture(autouse=True)
def sheet(tmp_path: Path) -> None:
    (tmp_path / "monday.csv").write_text(SHEET, encoding="utf-8")


def test_options_stand_in_groups_and_none_is_lost(run_rcdcheck: Run) -> None:
    told = run_rcdcheck("audit", "--help").stdout.decode()
    titles = ["What to read:", "How to understand it:", "How to judge:", "What to write:", "What to hand over:"]
    assert [told.index(t) for t in titles] == sorted(told.index(t) for t in titles)
    from rcdcheck.cli.audit import command

    for param in command.params:
        assert param.param_type_name == "argument" or any(opt in told for opt in param.opts), param.name


def test_no_line_of_help_ends_inside_a_name(run_rcdcheck: Run) -> None:
    for words in ((), *((name,) for name in COMMANDS)):
        lines = run_rcdcheck(*words, "--help").stdout.decode().splitlines()
        assert lines and not [line for line in lines if re.search(r"\w-$", line)], words


def test_a_mistyped_command_or_file_is_answered_with_the_nearest(run_rcdcheck: Run, tmp_path: Path) -> None:
    ran = run_rcdcheck("aduit", "monday.csv")
    assert ran.returncode == 2 and "Did you mean “audit”?" in ran.stderr.decode()
    ran = run_rcdcheck("audit", "mondy.csv")
    assert ran.returncode == 3 and "Did you mean “monday.csv”?" in " ".join(ran.stdout.decode().split())
    assert [p.name for p in tmp_path.iterdir()] == ["monday.csv"]


def test_a_file_keeps_a_firms_choices_and_the_command_line_goes_before_it(run_rcdcheck: Run, tmp_path: Path) -> None:
    firm = tmp_path / "firm"
    firm.mkdir()
    (firm / "logo.png").write_bytes(PNG)
    (firm / "firm.toml").write_text('name = "Frostbell"\naddress = ["4 Lane"]\nlicence = "L-1"\npicture = "logo.png"\n')
    (firm / "options.toml").write_text(
        'firm = "firm.toml"\nclient = "Market"\nwrite = ["html", "tags"]\nnumber = "7"\n'
    )
    ran = run_rcdcheck("audit", "monday.csv", "--options", "firm/options.toml", "--number", "R-17", "--as-of", DAY,
                       "--for", "client", "--quiet")  # fmt: skip
    assert ran.returncode == 0, ran.stderr
    page = (tmp_path / "monday-audit.html").read_text(encoding="utf-8")
    assert all(text in page for text in ("Frostbell", "4 Lane", "L-1", "Market", "R-17", "data:image/png;base64,"))
    assert "monday.csv" not in page
    assert (tmp_path / "monday-audit-tags.csv").exists() and not (tmp_path / "monday-audit.xlsx").exists()


@pytest.mark.parametrize(
    ("option", "text", "said"),
    [("--options", 'rulez = "x"', "Did you mean “rules”?"), ("--options", "no TOML", "file of options"),
     ("--firm", 'address = "x"', "it needs a name"), ("--firm", 'name = "x"\nlogo = "y"', "“logo” is not known"),
     ("--firm", 'name = "x"\npicture = "monday.csv"', "no picture")],
)  # fmt: skip
def test_a_wrong_file_of_options_or_of_a_firm_is_a_sentence(
    run_rcdcheck: Run, tmp_path: Path, option: str, text: str, said: str
) -> None:
    (tmp_path / "wrong.toml").write_text(text, encoding="utf-8")
    ran = run_rcdcheck("audit", "monday.csv", option, "wrong.toml")
    assert ran.returncode == 4 and said in ran.stderr.decode() and "Traceback" not in ran.stderr.decode()


@pytest.mark.parametrize("option", ["--options", "--columns", "--firm", "--remedied"])
def test_a_file_beside_the_sheet_that_is_not_there_is_said_in_words(run_rcdcheck: Run, option: str) -> None:
    ran = run_rcdcheck("audit", "monday.csv", option, "nonesuch.toml")
    assert ran.returncode == 4 and "there is no such file" in ran.stderr.decode() and "Errno" not in ran.stderr.decode()


@pytest.mark.parametrize(
    ("words", "last", "offered"),
    [("rcdcheck audit --rules", "uk-", "uk-present"), ("rcdcheck rules", "anz", "anz-in-service"),
     ("rcdcheck audit --column", "T1=trip_time_1x_1", "T1=trip_time_1x_180"), ("rcdcheck", "tem", "template")],
)  # fmt: skip
def test_the_shell_completes_commands_rule_sets_and_fields(words: str, last: str, offered: str) -> None:
    """As click's completion for bash asks: the words so far and the number of the one to complete."""
    asked = {
        "_RCDCHECK_COMPLETE": "bash_complete",
        "COMP_WORDS": f"{words} {last}",
        "COMP_CWORD": str(len(words.split())),
    }
    ran = subprocess.run(
        [sys.executable, "-m", "rcdcheck"],
        env=os.environ | asked,
        cwd=ROOT,
        capture_output=True,
        text=True,
        check=False,
    )
    assert offered in ran.stdout


def test_a_marked_copy_that_would_say_nothing_is_not_written(run_rcdcheck: Run, tmp_path: Path) -> None:
    (tmp_path / "bad.csv").write_text(SHEET.replace("A1", "B1").replace("24.1", "2O.1"), encoding="utf-8")
    run_rcdcheck("audit", "monday.csv", "bad.csv", "--mark", "--write", "none", "--as-of", DAY)
    assert sorted(p.name for p in tmp_path.iterdir()) == ["bad-marked.xlsx", "bad.csv", "monday.csv"]
