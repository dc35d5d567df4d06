"""Files that nobody meant to make: `python tests/bench/fuzz.py [--files 2000] [--seed 1] [--minutes 20] [--every 1]
[--keep DIR]`.

The sheets of the cases and samples are mutated: bytes flipped, cut out, doubled, cut off; in workbooks also the XML of
one part, in text also separators, quotation marks, line breaks and characters that do not print. Each is audited with
every report, page and marked copy within this process, under a clock. What escapes as a fault of ours, or takes longer,
is told and, with `--keep`, kept. `spoilt` asks of sheets of which one device failed that nothing typed or lost beside
the digits of its line lets it pass.
"""

from __future__ import annotations

import argparse
import datetime as dt
import io
import random
import signal
import sys
import tempfile
import time
import traceback
import zipfile
from collections.abc import Iterator
from pathlib import Path

ROOT = Path(__file__).parents[2]
SECONDS = 20
KINDS = (".csv", ".txt", ".tsv", ".xlsx", ".xlsm", ".xls", ".xlsb", ".ods")
ODD = [",", ";", "\t", '"', "'", "\n", "\r", "\r\n", " ", "\u00a0", "\x00", "\x1b[31m", "\uffff", "\u202e", "=1+1", "-",
       "<b>", "{{", "é", "ﬁ", "°", "×", "no trip", ">", "F", "/", "()"]  # fmt: skip
TOKENS = [b"<", b"&#49;", b"&amp;", b"<!-- -->", b'"', b"999999999", b"-1", b"", b"\x00", b"\xff", b"<v>", b"</c>",
          b't="s"', b't="e"', b'r="A1"', b'r="XFD1048576"', b"<f>A1</f>", b"<row>", b"&x;", b"<t>F</t>"]  # fmt: skip


def sources() -> list[Path]:
    """All sheets of the cases and the samples."""
    found = [p for folder in ("tests/cases", "samples") for p in (ROOT / folder).rglob("*") if p.suffix in KINDS]
    return sorted(p for p in found if p.stat().st_size < 200_000)


def mutated(content: bytes, suffix: str, chance: random.Random) -> bytes:
    """The bytes of a file with one to five mutations."""
    for _ in range(chance.choice((1, 1, 1, 2, 5))):
        ways = [_bytes_changed]
        if content[:2] == b"PK":
            ways += [_part_changed] * 4
        elif suffix in (".csv", ".txt", ".tsv"):
            ways += [_text_changed] * 3
        content = chance.choice(ways)(content, chance)
    return content


def _bytes_changed(content: bytes, chance: random.Random) -> bytes:
    if not content:
        return content
    at, length = chance.randrange(len(content)), chance.choice((1, 1, 4, 100, 5000))
    way = chance.choice(("flip", "cut", "double", "end", "set"))
    if way == "flip":
        return content[:at] + bytes([content[at] ^ (1 << chance.randrange(8))]) + content[at + 1 :]
    if way == "cut":
        return content[:at] + content[at + length :]
    if way == "double":
        return content[: at + length] + content[at:]
    if way == "end":
        return content[:at]
    return content[:at] + bytes(chance.randrange(256) for _ in range(min(length, 4))) + content[at + min(length, 4) :]


def _text_changed(content: bytes, chance: random.Random) -> bytes:
    text = content.decode("utf-8", "surrogateescape")
    at = chance.randrange(len(text) + 1)
    if chance.random() < 0.3:
        lines = text.split("\n")
        chance.shuffle(lines)
        return "\n".join(lines).encode("utf-8", "surrogateescape")
    put = chance.choice(ODD) * chance.choice((1, 1, 1, 3, 200))
    return (text[:at] + put + text[at + chance.choice((0, 0, 1, 5)) :]).encode("utf-8", "surrogatepass")


def _part_changed(content: bytes, chance: random.Random) -> bytes:
    """One part of an archive changed, and the archive made anew."""
    try:
        with zipfile.ZipFile(io.BytesIO(content)) as old:
            parts = {name: old.read(name) for name in old.namelist()}
    except Exception:
        return _bytes_changed(content, chance)
    if not parts:
        return content
    name = chance.choice(sorted(parts))
    part = parts[name]
    at = chance.randrange(len(part) + 1)
    way = chance.choice(("token", "token", "bytes", "drop", "swap"))
    if way == "token":
        parts[name] = part[:at] + chance.choice(TOKENS) + part[at + chance.choice((0, 1, 8)) :]
    elif way == "bytes":
        parts[name] = _bytes_changed(part, chance)
    elif way == "drop":
        del parts[name]
    else:
        parts[name] = chance.choice(list(parts.values()))
    out = io.BytesIO()
    with zipfile.ZipFile(out, "w", zipfile.ZIP_DEFLATED) as new:
        for path, data in parts.items():
            new.writestr(path, data)
    return out.getvalue()


def audited(path: Path, *, reported: bool = True) -> str:
    """Audit a file, and make every report of it where asked; the fault of ours that escaped, empty for none."""
    from rcdcheck import pipeline
    from rcdcheck.errors import RcdcheckError
    from rcdcheck.records import Options
    from rcdcheck.reports import FORMATS, report_bytes
    from rcdcheck.reports.console import summary
    from rcdcheck.reports.heading import Heading
    from rcdcheck.reports.marked import marked_copy, nothing_to_mark

    signal.signal(signal.SIGPROF, _too_long)
    signal.setitimer(signal.ITIMER_PROF, SECONDS)  # of computing, so that busy neighbours change no answer
    try:
        audit = pipeline.run([str(path)], Options(as_of=dt.date(2026, 11, 25)))
        if not reported:
            return ""
        for kind in FORMATS:
            b"".join(report_bytes(kind, audit, Heading(client="A", hide_names=True)))
        b"".join(report_bytes("html", audit, Heading(audience="client")))
        summary(audit, [], colour=True, verbose=True)
        if audit.tables.inputs[0].status == "audited" and not nothing_to_mark(audit, 0):
            marked_copy(audit, 0)
    except RcdcheckError:
        return ""
    except Exception:
        return traceback.format_exc()
    finally:
        signal.setitimer(signal.ITIMER_PROF, 0)
    return ""


def _too_long(*_: object) -> None:
    raise TimeoutError(f"more than {SECONDS} s")


def cases(count: int, seed: int) -> Iterator[tuple[str, bytes]]:
    """Names and bytes of mutated files; the same count and seed give the same files."""
    chance, known = random.Random(seed), sources()
    for number in range(count):
        source = chance.choice(known)
        yield f"f{number}{source.suffix}", mutated(source.read_bytes(), source.suffix, chance)


HEADINGS = "Device,Rated IΔn (mA),Visual,1× 0° (ms),1× 180° (ms),Ramp (mA),Tested by,Date,Remarks"
FAILED = "K4,30,pass,24.4,301.5,22.4,A. Snowfield,2026-11-20,in the hall"
OTHERS = [f"K{i},30,pass,2{i}.4,2{i}.9,22.{i},A. Snowfield,2026-11-20," for i in (1, 2, 3, 5, 6, 7, 8)]
AFTER_READINGS = FAILED.index(",22.4")


def spoilt(count: int, seed: int) -> Iterator[str]:
    """Sheets of which device K4 failed, with anything but digits typed into its line or lost from its readings."""
    chance = random.Random(seed)
    for _ in range(count):
        line = FAILED
        for _ in range(chance.choice((1, 1, 2))):
            at = chance.randrange(len("K4,"), AFTER_READINGS + 1)
            if chance.random() < 0.3 and not line[at].isdigit():
                line = line[:at] + line[at + 1 :]
            else:
                put = chance.choice([c for c in ODD if not any(x.isdigit() for x in c)])
                line = line[:at] + put + line[at:]
        yield "\n".join([HEADINGS, *OTHERS[:3], line, *OTHERS[3:], ""])


def passed(text: str, path: Path) -> set[str]:
    """Devices that pass in a sheet of this text."""
    from rcdcheck import pipeline
    from rcdcheck.records import Options, Outcome

    path.write_bytes(text.encode("utf-8", "surrogatepass"))
    devices = pipeline.run([str(path)], Options(as_of=dt.date(2026, 11, 25))).devices
    return set(devices.loc[devices["outcome"] == Outcome.PASS, "name"])


def main() -> None:
    """Run until the files or the minutes are used up, and tell what escaped."""
    parser = argparse.ArgumentParser(description=(__doc__ or "").splitlines()[0])
    parser.add_argument("--files", type=int, default=2000)
    parser.add_argument("--seed", type=int, default=1)
    parser.add_argument("--minutes", type=float, default=20)
    parser.add_argument("--every", type=int, default=1, help="make reports of one in so many")
    parser.add_argument("--keep", type=Path, default=None)
    asked = parser.parse_args()
    start, tried, kinds = time.monotonic(), 0, dict[str, int]()
    with tempfile.TemporaryDirectory() as folder:
        for name, content in cases(asked.files, asked.seed):
            if time.monotonic() - start > 60 * asked.minutes:
                break
            path = Path(folder) / name
            path.write_bytes(content)
            fault, tried = audited(path, reported=tried % asked.every == 0), tried + 1
            if fault:
                where = [line.strip() for line in fault.splitlines() if "rcdcheck/" in line][-1:]
                kind = f"{fault.splitlines()[-1][:100]} | {where}"
                kinds[kind] = kinds.get(kind, 0) + 1
                if kinds[kind] == 1:
                    print(f"{name}: {kind}", flush=True)
                    if asked.keep:
                        asked.keep.mkdir(parents=True, exist_ok=True)
                        (asked.keep / name).write_bytes(content)
            path.unlink()
            if tried % 1000 == 0:
                print(f"{tried} so far", file=sys.stderr, flush=True)
        print(f"{tried} mutated files, {sum(kinds.values())} faults of {len(kinds)} kinds", flush=True)
        good, through, lines = {line.split(",")[0] for line in OTHERS}, 0, 0
        for text in spoilt(asked.files, asked.seed):
            if time.monotonic() - start > 120 * asked.minutes:
                break
            lines += 1
            wrong = passed(text, Path(folder) / "spoilt.csv") - good
            through += bool(wrong)
            if wrong:
                print(f"passed: {wrong} {text.splitlines()[4:6]!r}", flush=True)
    print(f"{lines} spoilt lines, of which passed: {through}")


if __name__ == "__main__":
    sys.path.insert(0, str(ROOT))
    main()
