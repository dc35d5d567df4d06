"""A judge of RCD tests that shares neither code nor figures with the program: plain Python over rows as they are typed.

It knows ordinary sheets: readings in ms and mA, "no trip", ">300", a blank, a slip that cannot be read. Where standards
are silent or honest readers differ (`tests/judging/decisions/` lists that) it is not asked.

Sources: IEC 61008-1 Table 1 (300, 150, 40 ms; type S 130 to 500, 60 to 200, 50 to 150 ms), as three or more
independent secondary sources quote it, the minima at 2 and 5 IΔn from memory; Table 2 for half waves (1.4 and 2.8 IΔn)
and IEC 62423 for smooth d.c. (2, 4 and 10 IΔn), from memory; AS/NZS 3190 type I, 40 ms (four sources), of which
portable devices up to 10 mA are (2016, clause 2.5, read in a sample); UL 943, t = (20/I)^1.43 s
from 6 to 264 mA (four sources), trips by 6 mA and not below 4 (published); visits and remedies: common practice.
"""

from __future__ import annotations

from collections import defaultdict
from datetime import date
from math import inf

Row = dict[str, str]
Windows = dict[float, tuple[float, float]]  # multiple → least and most, ms
RANK = ["pass", "incomplete", "unclear", "fail"]

SINUSOIDAL: dict[str, Windows] = {
    "I": {1: (0, 40)},
    "general": {1: (0, 300), 2: (0, 150), 5: (0, 40)},
    "selective": {1: (130, 500), 2: (60, 200), 5: (50, 150)},
}
HALF_WAVES: dict[str, Windows] = {
    "up to 10 mA": {2: (0, 300), 4: (0, 150)},
    "general": {1.4: (0, 300), 2.8: (0, 150)},
    "selective": {1.4: (0, 500), 2.8: (0, 200)},
}
SMOOTH: dict[str, Windows] = {
    "general": {2: (0, 300), 4: (0, 150), 10: (0, 40)},
    "selective": {2: (0, 500), 4: (0, 200), 10: (0, 150)},
}
NEEDED = {
    "anz-in-service": ["1× 0°", "1× 180°"],
    "international-product": ["1× 0°", "1× 180°"],
    "uk-present": [],  # any one at 1×
    "uk-former": ["1× 0°", "1× 180°"],  # and at 5×, up to 30 mA
    "north-america-gfci": [],  # any one at 6 mA or more
}
REMEDIES = {"replaced", "replaced by a new one", "repaired"}  # done, and of the fault


def worst(outcomes: list[str]) -> str:
    """The worst of several outcomes; nothing wrong is a pass."""
    return max(["pass", *outcomes], key=RANK.index)


def typed(text: str) -> tuple[float, bool] | None:
    """The smallest value a cell may stand for, and whether it may also be more; None where it cannot be read."""
    if text == "no trip":
        return inf, False
    try:
        return (float(text[1:]), True) if text.startswith(">") else (float(text), False)
    except ValueError:
        return None


def within(text: str, low: float, high: float) -> str:
    """A reading that has to lie from `low` to `high`."""
    value = typed(text)
    if value is None or value[0] <= 0:
        return "unclear"
    least, more = value
    if more:
        return "fail" if least >= high else "unclear"
    return "pass" if low <= least <= high else "fail"


def trip_time(text: str, windows: Windows, multiple: float) -> str:
    """A trip time at a multiple, by the window of the next lower one that has one; 2 ms is no mechanism's time."""
    value = typed(text)
    if value is not None and (value[0] < 2 or 10_000 < value[0] < inf):
        return "unclear"  # no mechanism is so quick, no instrument waits so long (common practice, no source)
    return within(text, *windows[max(known for known in windows if known <= multiple)])


def holds(text: str) -> str:
    """Half the rated current must not trip; the bare end of a range says nothing."""
    value = typed(text)
    if value is None or text in ("300", "500", "1000", "1999", "2000"):
        return "unclear"
    return "pass" if value[0] == inf or value[1] else "fail"


def kinds(rules: str, row: Row) -> list[str]:
    """What kinds of device a row leaves possible."""
    rated, selective = row["Rated IΔn (mA)"], row["Delay"] == "selective"
    if row.get("RCD type") == "IV" or selective:
        return ["selective"]
    if rules == "anz-in-service" and rated == "10":
        return ["I"] if row["RCD type"] == "I" or row["Kind"] == "portable" else ["I", "general"]
    if float(rated) > 30 and not row["Delay"] and row.get("RCD type") != "III":
        return ["general", "perhaps selective"]
    return ["general"]


def agreed(verdicts: dict[str, str]) -> str:
    """One verdict from those under each kind; a delay that is not stated counts only where it would save a slow one."""
    if verdicts.get("general") == "fail" != verdicts.get("perhaps selective", "fail"):
        return "unclear"
    plain = {verdict for kind, verdict in verdicts.items() if kind != "perhaps selective"}
    return plain.pop() if len(plain) == 1 else "unclear"


def by_kind(text: str, table: dict[str, Windows], possible: list[str], multiple: float) -> str:
    """A trip time under every kind of device that is possible."""
    windows = {kind: table[kind.removeprefix("perhaps ")] for kind in possible}
    return agreed({kind: trip_time(text, window, multiple) for kind, window in windows.items()})


def reading(rules: str, row: Row, heading: str) -> str:
    """One reading of a row under a rule set."""
    text, words = row[heading], heading.split()
    if words[0] == "Ramp":
        return ramp(rules, row, heading)
    if rules == "north-america-gfci":
        current = float(words[2])
        if current < 4:
            return holds(text)
        return trip_time(text, {0: (0, 1000 * (20 / current) ** 1.43 if current <= 264 else 25)}, current)
    multiple = float(next(word for word in words if word.endswith("×"))[:-1])
    if multiple == 0.5:
        return holds(text)
    possible = kinds(rules, row)
    if "pulsating" in words:
        rated = float(row["Rated IΔn (mA)"])  # whether 15 and 20 mA are of the lower column was not read
        possible = ["up to 10 mA"] if rated <= 10 else [*possible, "up to 10 mA"] if rated < 30 else possible
        return of_waveform(row, by_kind(text, HALF_WAVES, possible, multiple))
    if "smooth" in words:
        return of_waveform(row, by_kind(text, SMOOTH, possible, multiple))
    return by_kind(text, SINUSOIDAL, possible, multiple)


def of_waveform(row: Row, verdict: str) -> str:
    """Where no waveform type is stated the device may be of type AC, of which half waves and d.c. ask nothing."""
    return "unclear" if verdict == "fail" and not row["Waveform type"] else verdict


def ramp(rules: str, row: Row, heading: str) -> str:
    """A ramp: by the rated current; half waves by 1.4 times (2 times up to 10 mA), smooth d.c. by twice."""
    if rules == "north-america-gfci":
        return within(row[heading], 4, 6)
    rated = float(row["Rated IΔn (mA)"])
    most = {"pulsating": 2.0 if rated <= 10 else 1.4, "smooth": 2.0}.get(heading.split()[3], 1.0) * rated
    if heading.split()[3] in ("pulsating", "smooth"):
        return of_waveform(row, within(row[heading], 0, round(most, 6)))
    value = typed(row[heading])
    if rules == "international-product" and value is not None and 0 < value[0] <= rated / 2 and not value[1]:
        return "fail"
    return within(row[heading], 0, round(most, 6))


def looked_over(row: Row) -> str:
    """The look-over and the device's own button."""
    seen = {"pass": "pass", "fail": "fail", "cracked": "fail", "": "incomplete"}.get(row["Visual"], "unclear")
    pressed = {"pass": "pass", "fail": "fail", "": "pass"}.get(row["Test button"], "unclear")
    return worst([seen, pressed])


def readings(row: Row) -> list[str]:
    """Headings of the readings that a row holds."""
    return [heading for heading, text in row.items() if heading.startswith(("Trip time", "Ramp")) and text]


def complete(rules: str, rows: list[Row]) -> bool:
    """Whether the tests of one outlet at one visit hold together all that a complete test needs."""
    held = {heading.removeprefix("Trip time ").removesuffix(" (ms)") for row in rows for heading in readings(row)}
    if rules == "uk-present":
        return bool(held & {"1× 0°", "1× 180°"})
    if rules == "north-america-gfci":
        return any(name.endswith(" mA") and float(name.split()[0]) >= 6 for name in held)
    needed = set(NEEDED[rules])
    if rules == "uk-former" and float(rows[0]["Rated IΔn (mA)"]) <= 30:
        needed |= {"5× 0°", "5× 180°"}
    return needed <= held


def test(rules: str, row: Row) -> str:
    """All that one row says of itself; what it lacks is asked of the visit."""
    found = worst([looked_over(row), *(reading(rules, row, heading) for heading in readings(row))])
    if row["Remedy"] == "should have been replaced":
        found = worst([found, "unclear"])  # something was to be remedied, and nobody says that it was
    if row["Result"] == "fail":
        return "unclear" if found == "pass" else "fail"
    return found


def visits(rows: list[Row]) -> list[list[Row]]:
    """Tests with dates at most one day apart belong together; a visit spans two days and begins with its first."""
    parted: list[list[Row]] = []
    for row in sorted(rows, key=lambda row: (row["Date"], row["Time"])):
        day = date.fromisoformat(row["Date"])
        if not parted or (day - date.fromisoformat(parted[-1][0]["Date"])).days > 1 or replaced_before(parted[-1], day):
            parted.append([])
        parted[-1].append(row)
    return parted


def replaced_before(rows: list[Row], day: date) -> bool:
    """Whether a device was replaced on an earlier day of the visit: what is tested then is another device."""
    return any(row["Remedy"].startswith("replaced") and date.fromisoformat(row["Date"]) < day for row in rows)


def outlets(rows: list[Row]) -> dict[str, list[Row]]:
    """Rows by outlet."""
    parted: dict[str, list[Row]] = defaultdict(list)
    for row in rows:
        parted[row["Outlet"]].append(row)
    return parted


def outlet(rules: str, rows: list[Row]) -> str:
    """One outlet at one visit: the worst stands, unless a remedy that same day came before a complete pass; it ends
    what failed, and what may have failed just as well."""
    wrong = [row for row in rows if test(rules, row) in ("fail", "unclear")]
    remedied = wrong and all(row["Remedy"] in REMEDIES for row in wrong)
    if remedied:
        day = {row["Date"] for row in wrong}
        good = [row for row in rows if row not in wrong and row["Date"] in day and complete(rules, [row])]
        good = [row for row in good if test(rules, row) == "pass"]
        if good and any(not row["Time"] for row in [*good, *wrong]):
            return "unclear"  # nobody knows which came first
        if good and max(row["Time"] for row in wrong) < max(row["Time"] for row in good):
            return "pass"
    return worst([*(test(rules, row) for row in rows), *([] if complete(rules, rows) else ["incomplete"])])


def perhaps_failed(rules: str, row: Row) -> bool:
    """Whether a reading fails unless the device is a selective one, of which nobody knows."""
    if rules == "north-america-gfci" or "perhaps selective" not in kinds(rules, row):
        return False
    general = row | {"Delay": "general"}
    return any(
        reading(rules, row, one) == "unclear" and reading(rules, general, one) == "fail" for one in readings(row)
    )


def device(rules: str, rows: list[Row]) -> str:
    """A device over all its visits."""
    outcome, open_fail, remedied, known, last_fail = "pass", False, False, set[str](), date.min
    doubted = False
    for visit in visits(rows):
        by_outlet = outlets(visit)
        lacking = ["incomplete"] if known - by_outlet.keys() else []
        outcome = worst([*(outlet(rules, tests) for tests in by_outlet.values()), *lacking])
        known |= by_outlet.keys()
        if outcome == "fail":
            failed = [row for row in visit if test(rules, row) == "fail"]
            last_fail = max(date.fromisoformat(row["Date"]) for row in failed)
            open_fail, remedied = True, all(row["Remedy"] in REMEDIES for row in failed)
        elif open_fail and outcome == "pass":
            near = (
                date.fromisoformat(visit[-1]["Date"]) - last_fail
            ).days <= 1  # at most a day apart: the worst stands
            outcome = "pass" if remedied else "fail" if near else "unclear"
            open_fail = not remedied
        elif open_fail and not remedied:
            outcome = "fail"
        mended = any(row["Remedy"] in REMEDIES for row in visit)
        if doubted and not mended and outcome in ("pass", "incomplete"):
            outcome = "unclear"
        doubted = not mended and (doubted or any(perhaps_failed(rules, row) for row in visit))
    return outcome
