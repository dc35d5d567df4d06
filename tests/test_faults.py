"""Faults of the machine on real files: kills, no room, no permission, inputs that change, odd things in a folder.

Old outputs or new outputs stand, never half of one; no litter; the exit code tells.
"""

from __future__ import annotations

import ctypes
import json
import os
import resource
import shutil
import signal
import socket
import subprocess
import sys
import threading
from collections.abc import Callable
from pathlib import Path

import pytest
from whole_runs import DAY, ROOT

from rcdcheck.errors import OutputError
from rcdcheck.writing import Together, unfinished

sys.path.insert(0, str(Path(__file__).parent / "bench"))
import kills

HEADINGS = kills.HEADINGS
GOOD = HEADINGS + "A1,30,pass,24.1,25.0,A. Snowfield,Meter A,2026-11-20\n"
BAD = HEADINGS + "A1,30,pass,24.1,no trip,A. Snowfield,Meter A,2026-11-20\n"
EVERY_REPORT = ("--write", "html,xlsx,json,tags", "--mark", "--out", "out")
KILLS = 12


def audit(
    folder: Path, *arguments: str, before: Callable[[], None] | None = None, environment: dict[str, str] | None = None
) -> subprocess.CompletedProcess[bytes]:
    """A run in a process of its own, with a limit on it or with rights taken away."""
    command = [sys.executable, "-m", "rcdcheck", "audit", *arguments, "--as-of", DAY, "--quiet"]
    ran = subprocess.run(
        command, cwd=folder, env=os.environ | (environment or {}), preexec_fn=before, capture_output=True, timeout=120,
        check=False,
    )  # fmt: skip
    assert b"Traceback" not in ran.stdout + ran.stderr
    return ran


def without_rights() -> None:
    """Give up the right to pass over permissions (capabilities(7)), which only the first of users has."""
    if os.geteuid() == 0:
        drop_from_bounding_set = 24
        for capability in (1, 2):  # CAP_DAC_OVERRIDE, CAP_DAC_READ_SEARCH
            assert ctypes.CDLL(None).prctl(drop_from_bounding_set, capability, 0, 0, 0) == 0


@pytest.mark.long
def test_killed_at_any_moment() -> None:
    """In a process of its own, from which the runs are forked."""
    command = [sys.executable, kills.__file__, "--kills", str(KILLS), "--seed", "2026"]
    ran = subprocess.run(command, capture_output=True, text=True, check=False)
    assert ran.returncode == 0, ran.stderr
    assert f"{KILLS} kills, each file whole" in ran.stdout and "'old'" in ran.stdout


KILLED_AT = """
import os, pathlib, signal, sys
moves, move, wanted = int(sys.argv.pop(1)), pathlib.Path.replace, int(sys.argv.pop(1))
def replace(*given):
    global moves
    moves -= 1
    if not moves:
        os.kill(os.getpid(), wanted)
    return move(*given)
pathlib.Path.replace = replace
from rcdcheck.cli import main
main()
"""


@pytest.fixture(scope="module")
def reported(tmp_path_factory: pytest.TempPathFactory) -> Path:
    """A folder with a sheet and every report of it."""
    folder = tmp_path_factory.mktemp("reported")
    (folder / "day.csv").write_text(BAD, encoding="utf-8")
    assert audit(folder, "day.csv", *EVERY_REPORT).returncode == 1
    return folder


def test_killed_while_files_are_moved_into_place(reported: Path, tmp_path: Path) -> None:
    """Some files are new then, which is told until a run replaces them; the document is the last of them."""
    shutil.copytree(reported, tmp_path, dirs_exist_ok=True)
    before, moves = kills.made(tmp_path), 3
    (tmp_path / "day.csv").write_text(BAD.replace("24.1", "x"), encoding="utf-8")
    command = [sys.executable, "-c", KILLED_AT, str(moves), "9", "audit", "day.csv", *EVERY_REPORT, "--as-of", DAY]
    assert subprocess.run(command, cwd=tmp_path, capture_output=True, check=False).returncode == -9
    found = kills.made(tmp_path)
    new = {name for name, content in found.items() if content != before.get(name)}
    (names,) = unfinished(tmp_path / "out", age=0).values()
    assert len(new) == moves - 1 and new <= names == found.keys() and "day-audit.json" not in new
    verify = [sys.executable, "-m", "rcdcheck", "verify", "out/day-audit.json"]
    ran = subprocess.run(verify, cwd=tmp_path, capture_output=True, check=False)
    assert (ran.returncode, b"A run was ended while it put" in ran.stdout) == (1, True)
    for marker in (tmp_path / "out").glob("*.unfinished"):
        os.utime(marker, (1, 1))
    other = audit(tmp_path, "day.csv", "--write", "tags", "--out", "out", "--name", "other")
    assert b"A run was ended while it put day-audit-tags.csv, day-audit.html" in other.stderr
    assert b"A run was ended" not in audit(tmp_path, "day.csv", *EVERY_REPORT).stderr
    assert not unfinished(tmp_path / "out", age=0)


@pytest.mark.parametrize("number", [signal.SIGINT, signal.SIGTERM])
def test_a_request_to_end_waits_until_files_stand(reported: Path, tmp_path: Path, number: signal.Signals) -> None:
    shutil.copytree(reported, tmp_path, dirs_exist_ok=True)
    (tmp_path / "day.csv").write_text(BAD.replace("24.1", "x"), encoding="utf-8")
    before = kills.made(tmp_path)
    command = [
        sys.executable,
        "-c",
        KILLED_AT,
        "3",
        str(int(number)),
        "audit",
        "day.csv",
        *EVERY_REPORT,
        "--as-of",
        DAY,
    ]
    ran = subprocess.run(command, cwd=tmp_path, capture_output=True, check=False)
    assert (ran.returncode, b"nothing half-written" in ran.stderr) == (130, True)
    old = {name for name, content in kills.made(tmp_path).items() if content == before.get(name)}
    assert old == {"day-audit-tags.csv"}  # which says the same of both
    assert not list((tmp_path / "out").glob(".rcdcheck-*"))


def test_where_one_file_cannot_be_put_into_place_all_are_put_back(tmp_path: Path) -> None:
    """A folder takes the place of the document while the others are written."""
    old, new, last = (tmp_path / name for name in ("old.html", "new.html", "last.json"))
    for path in (old, last):
        path.write_bytes(b"old")
    with (
        pytest.raises(OutputError, match=r"last\.json could not be written: Is a directory.*--out\.$"),
        Together() as out,
    ):
        for path in (old, new, last):
            out.add(path, [b"new"])
        last.unlink()
        last.mkdir()
    assert old.read_bytes() == b"old"
    assert sorted(tmp_path.iterdir()) == [last, old]


@pytest.mark.parametrize("room", [0, 1, 300, 2_000, 5_000, 9_000, 20_000, 50_000])
def test_no_room_leaves_the_old_outputs(reported: Path, tmp_path: Path, room: int) -> None:
    """No file may grow beyond `room`, as on a disk that fills up while it is written."""
    shutil.copytree(reported, tmp_path, dirs_exist_ok=True)
    before = kills.made(tmp_path)
    kills.sheet(tmp_path / "day.csv", "2026-11-20", "no trip")
    ran = audit(
        tmp_path, "day.csv", *EVERY_REPORT, before=lambda: resource.setrlimit(resource.RLIMIT_FSIZE, (room, room))
    )
    assert ran.returncode == 5
    assert b"could not be written" in ran.stderr
    assert kills.made(tmp_path) == before
    assert not list(tmp_path.rglob("*.part"))


@pytest.mark.parametrize(
    ("shut", "arguments", "code"),
    [
        ("out", ("day.csv", "--out", "out"), 5),
        ("out", ("day.csv", "--out", "out/below"), 5),
        ("out", ("day.csv", "--write", "none", "--json", "out/a.json"), 5),
        ("out", ("day.csv", "--write", "none", "--register", "out/fleet.db"), 5),
        ("bad.csv", ("bad.csv", "day.csv", "--write", "none", "--json", "-"), 3),
        ("inbox", ("inbox", "day.csv", "--write", "none", "--json", "-"), 3),
        ("month/inner/shut", ("month", "--write", "none", "--json", "-", "--fail-on", "never"), 3),
        ("own.toml", ("day.csv", "--write", "none", "--rules", "./own.toml"), 4),
        ("own.toml", ("day.csv", "--write", "none", "--columns", "own.toml"), 4),
        ("own.toml", ("day.csv", "--write", "none", "--options", "own.toml"), 4),
        ("own.toml", ("day.csv", "--write", "none", "--firm", "own.toml"), 4),
        ("own.toml", ("day.csv", "--write", "none", "--remedied", "own.toml"), 4),
        ("own.toml", ("day.csv", "--write", "none", "--register", "own.toml"), 5),
    ],
)
def test_what_may_not_be_read_or_written_is_said(
    tmp_path: Path, shut: str, arguments: tuple[str, ...], code: int
) -> None:
    for name in ("out", "inbox", "month/inner/shut"):
        (tmp_path / name).mkdir(parents=True)
    for name, text in {
        "day.csv": GOOD,
        "month/day.csv": GOOD,
        "bad.csv": BAD,
        "inbox/bad.csv": BAD,
        "own.toml": "",
    }.items():
        (tmp_path / name).write_text(text, encoding="utf-8")
    (tmp_path / shut).chmod(0o555 if shut == "out" else 0)
    ran = audit(tmp_path, *arguments, before=without_rights)
    (tmp_path / shut).chmod(0o755)
    assert ran.returncode == code, ran.stderr.decode()
    if code == 3:
        document = json.loads(ran.stdout)
        assert sorted(one["status"] for one in document["inputs"]) == ["audited", "not_audited"]
        assert "Permission denied" in json.dumps(document["inputs"])
    else:
        assert (shut if shut != "out" else "out/").encode() in ran.stderr
    assert not list((tmp_path / "out").iterdir())


def test_odd_things_in_a_folder_stop_no_sheet(tmp_path: Path) -> None:
    inbox = tmp_path / "inbox"
    inbox.mkdir()
    (inbox / "day.csv").write_text(GOOD, encoding="utf-8")
    os.mkfifo(inbox / "pipe.csv")
    os.mknod(inbox / "zero.csv", 0o20666, os.makedev(1, 5)) if os.geteuid() == 0 else (inbox / "zero.csv").symlink_to(
        "/dev/zero"
    )
    (inbox / "endless.csv").symlink_to("/dev/zero")
    (inbox / "loop.csv").symlink_to("loop.csv")
    (inbox / "one.csv").symlink_to("two.csv")
    (inbox / "two.csv").symlink_to("one.csv")
    (inbox / "nowhere.csv").symlink_to("gone.csv")
    (inbox / "again.csv").symlink_to("day.csv")
    (inbox / "up.csv").symlink_to("..")
    with socket.socket(socket.AF_UNIX) as listening:
        here = Path.cwd()
        os.chdir(inbox)  # the name of a socket is short
        listening.bind("socket.csv")
        os.chdir(here)
        ran = audit(tmp_path, "inbox", "--write", "none", "--json", "-")
    document = json.loads(ran.stdout)
    assert ran.returncode == 3
    assert {one["name"] for one in document["inputs"] if one["status"] != "audited"} == {
        "pipe.csv", "zero.csv", "endless.csv", "loop.csv", "one.csv", "two.csv", "nowhere.csv", "socket.csv",
    }  # fmt: skip
    (nowhere,) = (one["reason"] for one in document["inputs"] if one["name"] == "nowhere.csv")
    assert nowhere.startswith("it is a link to a file that is not there")
    assert [device["outcome"] for device in document["devices"]] == ["pass"]


@pytest.mark.parametrize("way", ["vanishes", "is cut", "is replaced", "grows"])
def test_inputs_that_change_while_they_are_read_and_marked(tmp_path: Path, way: str) -> None:
    """Whatever was read last stands whole in the reports; nothing of it is a fault of ours."""
    day = tmp_path / "day.csv"
    over = threading.Event()

    def change() -> None:
        while not over.is_set():
            if way == "vanishes":
                day.unlink(missing_ok=True)
                day.write_text(BAD, encoding="utf-8")
            elif way == "is cut":
                day.write_text(BAD[: len(BAD) // 2], encoding="utf-8")
                day.write_text(BAD, encoding="utf-8")
            elif way == "grows":
                kills.sheet(day, "2026-11-20", "no trip")
                day.write_text(BAD, encoding="utf-8")
            else:
                for text in (GOOD, BAD):
                    (tmp_path / "next").write_text(text.replace("A1", "B1"), encoding="utf-8")
                    (tmp_path / "next").replace(day)
            over.wait(0.001)

    day.write_text(BAD, encoding="utf-8")
    (tmp_path / "still.csv").write_text(BAD.replace("A1", "S1"), encoding="utf-8")
    changing = threading.Thread(target=change)
    changing.start()
    try:
        runs = [audit(tmp_path, "day.csv", "still.csv", *EVERY_REPORT) for _ in range(2)]
    finally:
        over.set()
        changing.join()
    for ran in runs:  # 5: its marked copy would have been of another sheet, or of none
        assert ran.returncode in (1, 3) or (ran.returncode == 5 and b"day.csv" in ran.stderr), ran.stderr.decode()
    assert b"S1" in kills.made(tmp_path)["audit.json"]
    assert not list(tmp_path.rglob("*.part"))


def test_what_stands_where_the_marked_copy_would_is_kept(tmp_path: Path) -> None:
    """A folder of that name gives the copy the next number; a name that no file may bear is said."""
    (tmp_path / "day.csv").write_text(BAD, encoding="utf-8")
    (tmp_path / "day-marked.xlsx").mkdir()
    assert audit(tmp_path, "day.csv", "--mark", "--write", "none").returncode == 1
    assert (tmp_path / "day-marked-2.xlsx").is_file() and (tmp_path / "day-marked.xlsx").is_dir()
    longest = "n" * 251 + ".csv"
    (tmp_path / longest).write_text(BAD, encoding="utf-8")
    ran = audit(tmp_path, longest, "--mark", "--write", "none")
    assert ran.returncode == 5 and b"could not be written: File name too long" in ran.stderr


def test_an_input_that_has_vanished_keeps_its_place(tmp_path: Path) -> None:
    with pytest.raises(OutputError, match="one of the inputs"), Together([tmp_path / "gone.html"]) as together:
        together.add(tmp_path / "." / "gone.html", [b"no"])
    assert not list(tmp_path.iterdir())


def test_two_runs_into_one_folder(tmp_path: Path) -> None:
    """Each file is the one of either run."""
    for name, text in {"a.csv": BAD, "b.csv": BAD.replace("A1", "B1")}.items():
        (tmp_path / name).write_text(text, encoding="utf-8")
    alone = {}
    for name in ("a", "b"):
        audit(tmp_path, f"{name}.csv", *EVERY_REPORT[:2], "--out", f"only-{name}", "--name", "day")
        alone[name] = {p.name: p.read_bytes() for p in (tmp_path / f"only-{name}").iterdir()}
    command = [sys.executable, "-m", "rcdcheck", "audit", "--as-of", DAY, "--quiet", *EVERY_REPORT[:2], "--name", "day"]
    for _ in range(2):
        runs = [subprocess.Popen([*command, "--out", "out", f"{name}.csv"], cwd=tmp_path) for name in "ab"]
        assert [run.wait(timeout=120) for run in runs] == [1, 1]
        for name, content in kills.made(tmp_path).items():
            assert content in (alone["a"][name], alone["b"][name]), name


MONTH = [str(path) for path in sorted((ROOT / "samples" / "doubtful-month").glob("*.xlsx"))[:4]]
MONTH.append(str(ROOT / "samples" / "honest-day.csv"))


@pytest.fixture(scope="module")
def month(tmp_path_factory: pytest.TempPathFactory) -> Path:
    """Every report of a month of sheets."""
    folder = tmp_path_factory.mktemp("month")
    assert audit(folder, *MONTH, *EVERY_REPORT).returncode == 1
    return folder


@pytest.mark.parametrize(
    "environment",
    [
        {"TZ": "Pacific/Kiritimati", "LC_ALL": "C", "PYTHONHASHSEED": "1"},
        {"TZ": "Nowhere/At_All", "LC_ALL": "tr_TR.UTF-8", "PYTHONHASHSEED": "77"},
        {"TZ": "", "LANG": "xx_YY", "PYTHONHASHSEED": "0", "HOME": "/nonexistent", "TMPDIR": "/nonexistent"},
        {"PYTHONUTF8": "0", "LC_ALL": "POSIX", "PYTHONIOENCODING": "latin-1", "COLUMNS": "1"},
    ],
)
def test_the_same_bytes_wherever_and_whenever(month: Path, tmp_path: Path, environment: dict[str, str]) -> None:
    ran = audit(tmp_path, *MONTH[::-1], *EVERY_REPORT, "--jobs", "3", environment=environment)
    assert ran.returncode == 1, ran.stderr.decode()
    assert kills.made(month) == kills.made(tmp_path)
