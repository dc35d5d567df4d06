"""The grammar of remarks: which of their letters name a fault, a remedy, a plan, no access or an end of use.

Letters are those of `remark_words.py`; a rule is a pattern over them. What cannot be told apart falls on the side of
the fault: a fault that is missed is dangerous, a remark listed too many is only noise.
"""

from __future__ import annotations

import functools
import re
from collections.abc import Iterator
from typing import NamedTuple

_PART = "EDplhbo"
_CLAUSE = re.compile(r"[^.&]+")

# What a clause says; where several begin at one letter, the first alternative wins.
_SAYS = re.compile(
    rf"(?P<none>N[mf{_PART}]*[FcSQWUAI](?:[m{_PART}FcS]*[FcS])?|[FcS]m*[Ne]+$)"  # "no signs of damage", "cracks: none"
    r"|(?P<hold>N[fkmt?]{0,4}T[ftk]{0,2}[0H]?5|5[Hf0]{0,3}N[f]*T)"  # "no trip at half": as it should be
    r"|(?P<unsound>N[fkmtz?]{0,4}[Tg]|N[fktT]{0,4}1[JGj]|T[ftk]{1,2}5|T[fm]*Nf?$|N[f]?[JG])"  # "won't latch", "not ok"
    rf"|(?P<denied>(?<=[{_PART}])[fm]*N[fm]*\?)"  # "cover won't close"
    r"|(?P<better>Z)"
    r"|(?P<fault>[Fc])|(?P<state>S)|(?P<withdrawn>W)|(?P<gone>U)|(?P<unreached>A)|(?P<untested>B)|(?P<locked>I|(?<=H)q$)"
)
_ATTEMPTS = re.compile(
    r"O[fm]*[GJ]|C[fm]*G|[GJ][fmb]{0,3}O|T.{0,2}d|T[fk]{1,3}O$|[TkP][^M]{0,3}[OC][fm]*j|[OC][f]*j[ft]*T"
)
_ONLY_LATE = re.compile(r"y[fm]*T.{0,2}w|T.{0,3}y.{0,2}w")  # "only tripped after warming up"
_TESTED = re.compile(r"M[^T]{0,3}[OC]|[OC][fGj]*M")  # "tested twice" is no attempt
_CROSSED = re.compile(r"K.*X|X.*K|K[fm]*Y|Y[fm]*K")  # "neutral and earth swapped"
_NEW_PART = rf"v[H0]?[{_PART}]+"
_DENIED = r"[RuX][fm]*(?:[Ne][fm]*i?|B)$"  # "replaced: no", "replaced not done"
_DENIES = re.compile(r"[fm]*[PNe][fm]*")  # a whole clause that denies the remedy before it: "replaced? not yet"
_DONE = re.compile(rf"[Ru]|X|{_NEW_PART}|wf?r|rf?[{_PART}]*i")
_UNDONE = re.compile(
    rf"P.{{0,6}}(?:[RuXi]|{_NEW_PART})|N[fmsH?]{{0,3}}[RuXi]|t[RuX]|[RuXr].{{0,6}}V|[RuXr].{{0,6}}P$|{_DENIED}"
    rf"|{_NEW_PART}i?.?[VP]"
)
_PLANNED = re.compile(
    rf"P.{{0,6}}(?:[rRuXW]|{_NEW_PART})|N[fms]{{0,2}}[Ru]|t[RuX]|[RuXr].{{0,6}}V|[RuX].{{0,6}}P$|{_DENIED}|{_NEW_PART}.?[VP]"
    r"|P[ftm]{0,2}v(?![LH]?L)|r"
)
_WAITING = re.compile(rf"P.{{0,3}}[{_PART}]|[{_PART}].{{0,2}}[PV]$")
_OTHER_THING = re.compile(r"^[fv0]*[H?]+f*[Ru]")  # "fan replaced"


class Fault(NamedTuple):
    """A fault that nothing negates: its letters, its clause, what is faulty, and whether the past tense tells it."""

    at: int
    end: int
    clause: int
    parts: frozenset[str]
    tripping: bool  # of how the device trips: no part but the device itself can mend it
    implied: bool = False  # by a repair that is still to come, or by praise of what is well now
    past: bool = False
    loose: bool = False  # of a connection or a loose part, which tightening may end


class Remedy(NamedTuple):
    """A remedy that is done, and the parts it was done to; none where it names none."""

    at: int
    clause: int
    parts: frozenset[str]
    tightens: bool  # and does nothing else

    @property
    def of_device(self) -> bool:
        """Whether it may mend how a device trips."""
        return not self.tightens and (not self.parts or bool(self.parts & {"D", "E"}))

    def mends(self, fault: Fault, letters: str) -> bool:
        """Whether it was done about this fault, and after it."""
        behind = self.clause < fault.clause or (self.clause == fault.clause and self.at < fault.at and fault.tripping)
        if (behind and not fault.past) or "s" in letters[self.at : fault.at]:
            return False
        if self.tightens and not fault.loose:
            return False
        if not self.parts or "E" in self.parts:
            return True
        if fault.tripping:
            return bool(self.parts & {"D", "b"})
        return not fault.parts or bool(fault.parts & (self.parts | ({"b", "h"} if "D" in self.parts else set())))


class Told(NamedTuple):
    """All that a remark tells; the last four are places of letters, -1 where it says no such thing."""

    faults: tuple[Fault, ...]
    remedies: tuple[Remedy, ...]
    withdrawn: int
    gone: int
    unreached: int
    locked: int


@functools.lru_cache(maxsize=20_000)  # remarks of many words are spelled in few ways
def told(letters: str) -> Told:
    """Read a remark clause by clause."""
    faults, remedies, place = (
        list[Fault](),
        list[Remedy](),
        {"withdrawn": -1, "gone": -1, "unreached": -1, "locked": -1},
    )
    for number, clause in enumerate(_CLAUSE.finditer(letters)):
        said, start = clause.group(), clause.start()
        parts = frozenset(c for c in said if c in _PART)
        of = parts or frozenset("l" if "K" in said else "")
        only_accessory = "L" in said and not parts
        done = None if only_accessory or _UNDONE.search(said) else _DONE.search(said)
        crossed = _CROSSED.search(said)
        if done and not (crossed and done.group() == "X") and not _OTHER_THING.search(said):
            remedies.append(Remedy(start + done.start(), number, of, tightens=done.group() == "u"))
        if remedies and remedies[-1].clause == number - 1 and _DENIES.fullmatch(said):
            at = remedies.pop().at
            faults.append(Fault(at, at + 1, number, of, tripping=False, implied=True))
        past = "z" in said or "Z" in said
        for at, end, tripping in _faults(said, crossed):
            letter = letters[start + at]
            faults.append(Fault(start + at, start + end, number, of, tripping, letter == "Z", past, letter in "cS"))
        plan = None if only_accessory or (done and "r" in done.group()) else _plan(said)
        if plan:
            faults.append(Fault(start + plan.start(), start + plan.end(), number, of, tripping=False, implied=True))
        for kind, at in _absences(said):
            place[kind] = start + at if place[kind] < 0 else place[kind]
    return Told(tuple(faults), tuple(remedies), **place)


def _faults(said: str, crossed: re.Match[str] | None) -> Iterator[tuple[int, int, bool]]:
    """Where the clause names a fault, and whether it is one of tripping."""
    for found in _SAYS.finditer(said):
        if found.lastgroup == "unsound":
            yield found.start(), found.end(), not found.group().endswith("g")
        elif found.lastgroup in ("fault", "denied", "better") or (
            found.lastgroup == "state" and is_state(said, found.start())
        ):
            yield found.start(), found.end(), False
    attempts = _ONLY_LATE.search(said) or (None if _TESTED.search(said) else _ATTEMPTS.search(said))
    if attempts:
        yield attempts.start(), attempts.end(), True
    if crossed:
        yield crossed.start(), crossed.end(), False


def _plan(said: str) -> re.Match[str] | None:
    """A repair or replacement that is still to come, or a part that is waited for."""
    return _PLANNED.search(said) or (None if set(said) & set("HTgLM") else _WAITING.search(said))


def is_state(said: str, at: int) -> bool:
    """Whether "hot", "wet", "loose" is said of the device: not "hot water", "label missing" or "site wet"."""
    if said[at + 1 : at + 2] == "H" or said[at + 1 : at + 2] == "L" or "L" in said[max(0, at - 2) : at]:
        return False
    return any(c in said for c in f"{_PART}QK") or not any(c in said[:at] for c in "H?")


def _absences(said: str) -> Iterator[tuple[str, int]]:
    for found in _SAYS.finditer(said):
        if found.lastgroup in ("withdrawn", "gone", "unreached", "locked"):
            yield found.lastgroup, found.start()
        elif found.lastgroup == "untested" and not set(said) & set("n5"):
            yield "unreached", found.start()
