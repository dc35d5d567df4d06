"""How the bytes of a text are to be read: as stated, as marked, as UTF-8, or as told from the content."""

from __future__ import annotations

import codecs
import functools
import re

from rcdcheck import data
from rcdcheck.errors import InputError

Notices = list[tuple[str, dict[str, object]]]  # codes of findings and their words
_MARKS = (
    (b"\xff\xfe\0\0", "utf-32"), (b"\0\0\xfe\xff", "utf-32"), (b"\xef\xbb\xbf", "utf-8-sig"), (b"\xff\xfe", "utf-16"),
    (b"\xfe\xff", "utf-16"),
)  # fmt: skip


def as_utf8(content: bytes, encoding: str) -> tuple[bytes, Notices]:
    """The text as UTF-8 without a byte-order mark."""
    name, notices = _encoding(content, encoding)
    data = content if name == "utf-8" and not encoding else _recoded(content, name)
    if b"\0" in data:
        raise InputError("it holds NUL bytes, so it is no text, or the copy went wrong. Save it again as CSV or .xlsx.")
    if notices and len(re.findall(rb"[\x01-\x08\x0e-\x1f]", data[:4000])) > 0.02 * len(data[:4000]):
        raise InputError("it is neither text nor a workbook that can be recognised. Save it again as .xlsx.")
    return data.removeprefix(b"\xef\xbb\xbf"), notices


def _encoding(content: bytes, stated: str) -> tuple[str, Notices]:
    """As stated, as marked, UTF-8, UTF-16 without a mark where it looks so, else the Windows encoding of its words."""
    marked = next((name for mark, name in _MARKS if content.startswith(mark)), "")
    if stated or marked:
        return stated or marked, []
    if b"\0" in content:
        zeros = [content[i:4000:2].count(0) / 2000 for i in (0, 1)]
        share = max(zeros) * 4000 / min(len(content), 4000)
        if share > 0.4 and min(zeros) < 0.1 * share:
            name = "utf-16-be" if zeros[0] > zeros[1] else "utf-16-le"
            return name, [("encoding-told-from-content", {"encoding": name.upper()})]
        return "latin-1", []  # it is refused next
    if _is_utf8(content):
        return "utf-8", []
    name = _by_words(content)
    return name.lower(), [("encoding-told-from-content", {"encoding": name})]


def _by_words(content: bytes) -> str:
    """The Windows encoding under which most words with accents are words of the trade; of equals the more usual."""
    order = ["Windows-1252", "Windows-1250", "Windows-1254"]
    if _CENTRAL.search(content):
        order = ["Windows-1250", *order]
    texts = {name: content[:ASKED].decode(name, errors="replace").casefold() for name in order}
    return max(order, key=lambda name: sum(word in _accented() for word in set(_WORD.findall(texts[name]))))


@functools.cache
def _accented() -> frozenset[str]:
    """The words of `words.toml` that are not plain ASCII."""
    found = _WORD.findall((data.schemas() / "words.toml").read_text(encoding="utf-8").casefold())
    return frozenset(word for word in found if not word.isascii())


ASKED = 200_000  # bytes that tell an encoding
_WORD = re.compile(r"[^\W\d_]{3,}")
_CENTRAL = re.compile(rb"[A-Za-z][\x9f\xb3\xb9\xbf][a-z]")  # ź ł ą ż within a word; else they are signs: ³ ¹ ¿


def _is_utf8(content: bytes) -> bool:
    if content.isascii():
        return True
    decoder = codecs.getincrementaldecoder("utf-8")()
    try:
        for start in range(0, len(content), 1 << 20):
            decoder.decode(content[start : start + (1 << 20)])
        decoder.decode(b"", final=True)
    except UnicodeDecodeError:
        return False
    return True


def _recoded(content: bytes, name: str) -> bytes:
    try:
        return content.decode(name).encode()
    except LookupError:
        raise InputError(f"“{name}” is no encoding that is known; utf-8, utf-16 and windows-1252 are usual.") from None
    except ValueError as error:
        where = f"byte {error.start + 1:,} of it" if isinstance(error, UnicodeDecodeError) else "it"
        raise InputError(
            f"{where} is not {name}. Say which encoding it has with --encoding, or save it as UTF-8."
        ) from None
