"""Words of a remark that are not understood and may tell of the device's state.

Names of people and places are in no list; they are told by their capitals, and by what stands beside them: in a clause
that speaks of places, people or tests an unknown noun is one more of these.
"""

from __future__ import annotations

import re

from rcdcheck.intake.cells.clauses import is_state
from rcdcheck.intake.cells.phrases import folded, known

_CLAUSE = re.compile(r"[^.&]+")
_ODD_DENIED = re.compile(r"[Ne][fm]*Q|Q[fm]*[Ne]|Q[fm]*g$")  # "no issues", "looks good"
_KNOWN = re.compile(r"[HLgMn0RABWUea]")  # a clause that holds one of these speaks of something understood
_OF_DEVICE = re.compile(r"[EDplhboTKSn]")
_PERHAPS = re.compile(r"[?QSN]")
_DENIED = re.compile(r"N[fm]*\?")
_DENIES = re.compile(r"N(?![fmt]*[LFcSQMBAUVWI5nTg]|[fmt]*$)")  # something is not so, and it is not understood what
_STATE = re.compile(
    r"(?:ed|ing|y|ish|less|ous|ful|ert|elt|isch|ig|lich|ee?|eux|euse|ado|ada|ido|ida|oso|osa|ato|ata|uto|uta)s?$"
)
_ADJECTIVE = re.compile(r"(?:ous|less|ish|ful|euse?|oso|osa|isch|haft)$")  # says how something is, wherever it stands
_CAPITAL = re.compile(r"\b[^\W\d_a-z]\w+")


def unknown_word(letters: str, words: tuple[str, ...], text: str) -> str:
    """The first such word, empty where the remark is understood."""
    if not _PERHAPS.search(letters):
        return ""
    names = _names(text)
    for clause in _CLAUSE.finditer(letters):
        said, start = clause.group(), clause.start()
        at = _unknown_at(said, words[start : clause.end()], names)
        if at >= 0:
            return words[start + at]
    return ""


def _unknown_at(said: str, words: tuple[str, ...], names: frozenset[str]) -> int:
    if "Q" in said and ("?" in said or not _ODD_DENIED.search(said)):
        return said.index("Q")
    denies = _DENIES.search(said)
    if denies:
        return denies.start()
    strange = [i for i, c in enumerate(said) if c == "?" and not _is_name(words[i], i, names)]
    if strange and (_DENIED.search(said) or ("S" in said and not is_state(said, said.index("S")))):
        return strange[0]
    strange = [i for i in strange if i == 0 or words[i - 1] not in known("prepositions") or _ADJECTIVE.search(words[i])]
    told_of_device = _OF_DEVICE.search(said) or not _KNOWN.search(said)
    return next((i for i in strange if told_of_device or _ADJECTIVE.search(words[i])), -1)


def _is_name(word: str, at: int, names: frozenset[str]) -> bool:
    """A capital tells a name, but at the beginning of a remark only where the word does not look like a state."""
    return word in names and not (at == 0 and _STATE.search(word) and not word.endswith("y"))


def _names(text: str) -> frozenset[str]:
    return frozenset() if text.isupper() else frozenset(folded(w) for w in _CAPITAL.findall(text))
