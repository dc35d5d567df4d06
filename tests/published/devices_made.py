"""Seeded devices for the independent judge: rows as they are typed, in visits, by outlets, with remedies.

Times and currents follow the trade (general devices at 1× some 20 ms, slow ones just over the limit, no trip); they
only have to reach every rule of the judge. What standards leave open is not drawn.
"""

from __future__ import annotations

from datetime import date, timedelta
from random import Random

Row = dict[str, str]
SETS = ["anz-in-service", "international-product", "uk-present", "uk-former", "north-america-gfci"]

AC = [f"Trip time {m}× {p} (ms)" for m in ("1", "5") for p in ("0°", "180°")]
MORE = ["Trip time 0.5× 0° (ms)", "Trip time 2× 0° (ms)", "Trip time 3× 180° (ms)", "Ramp trip current (mA)"]
HALF_WAVES = ["Trip time pulsating 2.8× 0° (ms)", "Ramp trip current pulsating (mA)"]
SMOOTH = ["Trip time smooth d.c. 4× 0° (ms)", "Ramp trip current smooth d.c. (mA)"]
AT_CURRENTS = [f"Trip time {current} mA (ms)" for current in (3, 6, 20, 150)] + ["Ramp trip current (mA)"]
STATED = ["Kind", "Rated IΔn (mA)", "RCD type", "Waveform type", "Delay"]
HEADINGS = ["Device", "Outlet", *STATED, "Visual", "Test button"]
ENDS = ["Result", "Remedy", "Tested by", "Instrument", "Calibration due", "Date", "Time"]

STOCK = {  # kind, rated, type, waveform type, delay; how often
    "anz-in-service": [
        ("portable,30,II,A,general", 40), ("portable,10,I,A,general", 8), ("portable,10,,A,general", 5),
        ("fixed,30,II,AC,general", 12), ("fixed,30,II,B,general", 8), ("fixed,100,III,A,general", 8),
        ("fixed,100,,A,", 5), ("fixed,300,IV,A,selective", 8), ("fixed,300,III,B,general", 6),
        ("portable,15,II,A,general", 4), ("fixed,20,,B,general", 3), ("fixed,30,II,,general", 6),
    ],
    "north-america-gfci": [("fixed,6,,,", 8), ("portable,6,,,", 2), ("fixed,,,,", 2)],
}  # fmt: skip
OTHERS = [
    ("portable,30,,A,general", 40), ("portable,10,,A,general", 10), ("fixed,30,,AC,general", 12),
    ("fixed,30,,B,general", 8), ("fixed,30,,F,", 6), ("fixed,100,,A,general", 8), ("fixed,100,,A,", 5),
    ("fixed,300,,A,selective", 8), ("fixed,300,,B,general", 5), ("fixed,500,,AC,general", 4),
    ("portable,15,,A,general", 4), ("fixed,20,,B,general", 3), ("fixed,30,,,general", 6),
]  # fmt: skip
DONE, NOT_DONE = ["replaced", "replaced by a new one", "repaired"], ["label replaced", "should have been replaced"]


class Maker:
    """Draws devices of one rule set."""

    def __init__(self, rules: str, seed: int) -> None:
        """Begin a series of draws that the seed decides."""
        self.rules, self.draw = rules, Random(f"{rules}, {seed}")
        self.readings = AT_CURRENTS if rules == "north-america-gfci" else [*AC, *MORE, *HALF_WAVES, *SMOOTH]
        self.count = 0

    def headings(self) -> list[str]:
        """Headings of the sheet; only rules that know types I to IV have a column for them."""
        without = set() if self.rules == "anz-in-service" else {"RCD type"}
        if self.rules == "north-america-gfci":
            without |= {"Waveform type", "Delay"}
        return [name for name in [*HEADINGS, *self.readings, *ENDS] if name not in without]

    def devices(self, count: int) -> list[list[Row]]:
        """Rows of so many devices."""
        shapes = [self.once, self.in_two_parts, self.same_day, self.over_years, self.day_after_day, self.with_outlets]
        weights = [50, 10, 14, 14, 6, 10]
        return [self.draw.choices(shapes, weights)[0]() for _ in range(count)]

    # ── one test ──

    def blank(self) -> Row:
        """A device: what is stated of it, and nothing measured."""
        stock = STOCK.get(self.rules, OTHERS)
        stated = self.draw.choices([one for one, _ in stock], [often for _, often in stock])[0].split(",")
        row = dict.fromkeys([*HEADINGS, *self.readings, *ENDS], "")
        row |= dict(zip(STATED, stated, strict=True)) | {"Visual": "pass", "Test button": "pass"}
        self.count += 1
        row |= {"Device": f"K{self.count:05}", "Tested by": "A. Snowfield", "Instrument": "Meter A"}
        day = date(2026, 3, 2) + timedelta(days=self.draw.randrange(90))
        return row | {"Calibration due": "2027-04-30", "Date": day.isoformat(), "Time": "08:10"}

    def good(self, row: Row) -> Row:
        """The same device with a complete and good test, and now and then more than is needed."""
        needed = ["Trip time 150 mA (ms)"] if self.rules == "north-america-gfci" else AC[:2]
        needed = [*needed, *AC[2:]] if self.rules == "uk-former" and float(row["Rated IΔn (mA)"]) <= 30 else needed
        more = [one for one in self.readings if one not in needed and self.may_hold(row, one)]
        more = [one for one in more if self.draw.random() < 0.25]
        return row | {heading: self.value(row, heading, "good") for heading in [*needed, *more]}

    def may_hold(self, row: Row, heading: str) -> bool:
        """Half waves for types A, F and B, smooth d.c. for B, or none stated, at readings that a standard limits."""
        if "pulsating" in heading:
            return row["Waveform type"] != "AC" and not (row["RCD type"] == "I" or self.untyped(row))
        return "smooth" not in heading or row["Waveform type"] in ("B", "")

    def untyped(self, row: Row) -> bool:
        """A 10 mA device of which nobody knows whether it is type I."""
        return self.rules == "anz-in-service" and row["Rated IΔn (mA)"] == "10"

    def value(self, row: Row, heading: str, like: str) -> str:
        """A cell under a heading: good, bad, or doubtful."""
        if like == "doubtful":
            unreadable = ["2&.4", "OK?"] if "Ramp" not in heading else ["2&.4", "-3.1"]
            quick = ["1.2", ">20"] if "Ramp" not in heading and row["Delay"] != "selective" else []
            return self.draw.choice([*unreadable, *quick])
        if "0.5×" in heading or " 3 mA" in heading:
            return self.draw.choice(["no trip", ">2000"] if like == "good" else ["61.2", "12.4", "280.4"])
        least, most = self.window(row, heading)
        if like == "good":
            return self.draw.choices([f"{self.draw.uniform(least, most):.1f}", f"{most:g}.0"], [19, 1])[0]
        if "pulsating 2.8×" in heading and row["Rated IΔn (mA)"] in ("15", "20"):
            most = 300.0  # of two columns that may bind, the longer
        slow = [f"{most + self.draw.choice([0.1, 1, 20]):.1f}", "no trip", f">{most:g}", f"{2 * most:.1f}"]
        if row["Delay"] == "selective" and "Ramp" not in heading and "×" in heading and "d.c." not in heading:
            slow += [] if "pulsating" in heading else [f"{self.draw.uniform(12, 30):.1f}"]
        return self.draw.choice(slow)

    def window(self, row: Row, heading: str) -> tuple[float, float]:
        """From where to where readings of this device are good; where to call them bad."""
        if self.rules == "north-america-gfci":
            return {"6": (30.0, 5590.0), "20": (25.0, 1000.0), "150": (12.0, 56.0), "trip": (4.0, 6.0)}[
                heading.split()[1 if "Ramp" in heading else 2]
            ]
        if "Ramp" in heading:
            rated = float(row["Rated IΔn (mA)"])
            share = 2.0 if "smooth" in heading or ("pulsating" in heading and rated <= 10) else 1.0
            return 0.55 * rated, (1.4 if "pulsating" in heading and rated > 10 else share) * rated
        selective, multiple = row["Delay"] == "selective", heading.split("×", maxsplit=1)[0].rsplit(maxsplit=1)[-1]
        if "d.c." in heading or "pulsating" in heading:
            small = row["Rated IΔn (mA)"] == "10" and "pulsating" in heading
            return (100.0, 200.0) if selective else (12.0, 300.0 if small else 150.0)
        if selective:
            return {"1": (130.0, 500.0), "2": (60.0, 200.0), "3": (60.0, 200.0), "5": (50.0, 150.0)}[multiple]
        most = {"1": 300.0, "2": 150.0, "3": 150.0, "5": 40.0}[multiple]
        return 12.0, 40.0 if self.untyped(row) else most

    def spoilt(self, row: Row, like: str) -> Row:
        """A good test with something in it that is bad, doubtful, or missing."""
        held = [one for one in self.readings if row[one]]
        if like == "missing":
            needed = [one for one in held if one in AC[:2] or one == "Trip time 150 mA (ms)"]
            return row | dict.fromkeys(needed[:1] if self.rules != "uk-present" else needed, "")
        other = self.draw.random()
        if other < 0.08:
            return row | {"Visual": self.draw.choice(["fail", "cracked"]) if like == "bad" else "hmm"}
        if other < 0.14:
            return row | {"Test button": "fail" if like == "bad" else "hmm"}
        if like == "bad" and not row.get("Waveform type"):  # of which nobody knows whether it is made for the others
            held = [one for one in held if "d.c." not in one and "pulsating" not in one]
        heading = self.draw.choice(held)
        if like == "bad" and row["Rated IΔn (mA)"] == "100" and not row["Delay"] and row["RCD type"] != "III":
            return row | {self.draw.choice(AC[:2]): self.draw.choice(["500.1", "no trip", ">500", "812.4"])}
        if like == "bad" and "5×" in heading and self.rules == "international-product":
            return row | {heading: self.draw.choice(["151.2", "no trip", ">150"])}
        if like == "bad" and self.untyped(row) and "×" in heading and row["RCD type"] != "I" and "0.5×" not in heading:
            return row | {heading: self.draw.choice(["300.1", "no trip", ">300"])}
        return row | {heading: self.value(row, heading, like)}

    def drawn(self, row: Row) -> Row:
        """A test of this device as a day of honest work gives it."""
        like = self.draw.choices(["good", "bad", "doubtful", "missing"], [80, 9, 6, 5])[0]
        row = self.good(row)
        if like != "good":
            return self.spoilt(row, like)
        if self.draw.random() < 0.04 and row["Rated IΔn (mA)"] in ("10", "100") and self.halfway(row):
            return row | dict(zip(AC[:2], self.halfway(row), strict=True))
        if self.draw.random() < 0.1 and (undecided := self.undecided(row)):
            return row | undecided
        result = self.draw.choices(["", "pass", "fail"], [70, 27, 3])[0]
        return row | {"Result": result}

    def halfway(self, row: Row) -> list[str]:
        """Times that only the type or the delay, which is not stated, could decide."""
        if self.untyped(row) and not row["RCD type"]:
            return ["55.2", "60.1"]
        return ["341.2", "360.4"] if row["Rated IΔn (mA)"] == "100" and not (row["Delay"] or row["RCD type"]) else []

    def undecided(self, row: Row) -> Row:
        """A half wave or direct current that only the waveform type, or a column that was not read, could decide."""
        if self.rules == "north-america-gfci":
            return {}
        if not row["Waveform type"]:
            return {self.draw.choice([*HALF_WAVES[:1], *SMOOTH[:1]]): self.draw.choice(["no trip", "612.3", ">500"])}
        if row["Rated IΔn (mA)"] in ("15", "20"):
            return {HALF_WAVES[0]: f"{self.draw.uniform(151, 299):.1f}"}
        return {}

    # ── tests of one device ──

    def once(self) -> list[Row]:
        """One test, sometimes with a look-over that is blank, sometimes listed twice."""
        row = self.drawn(self.blank())
        if self.draw.random() < 0.03:
            row |= {"Visual": ""}
        return [row, dict(row)] if self.draw.random() < 0.04 else [row]

    def in_two_parts(self) -> list[Row]:
        """The first readings on one day, the others later that day or the day after; now and then never."""
        row = self.drawn(self.blank()) | {"Result": ""}
        held = [one for one in self.readings if row[one]]
        first = set(held[: max(1, len(held) // 2)])
        parts = [row | {one: "" for one in held if (one in first) == later} for later in (False, True)]
        parts[0], parts[1] = parts[1], parts[0]
        parts[1] |= {"Time": "14:30", "Date": shifted(row, self.draw.choice([0, 1]))["Date"]}
        parts = [part for part in parts if any(part[one] for one in held)]
        return parts[: 1 if self.draw.random() < 0.1 else 2] or [row]

    def same_day(self) -> list[Row]:
        """A fail or a doubt, and a complete pass of that day: with or without a remedy, before or after, or unknown."""
        blank = self.blank()
        like = self.draw.choices(["bad", "doubtful"], [3, 1])[0]
        fail = self.spoilt(self.good(blank), like) | {"Remedy": self.draw.choice(["", *DONE, *NOT_DONE])}
        again = self.good(blank) | {"Time": self.draw.choice(["07:20", "15:40", "16:05"])}
        if self.draw.random() < 0.15:
            fail, again = fail | {"Time": ""}, again | {"Time": ""}
        rows = [fail, again]
        if self.draw.random() < 0.3 and fail["Remedy"].startswith("replaced"):
            rows[1] = shifted(again, 1)  # another device, the day after
        return rows if self.draw.random() < 0.5 else rows[::-1]

    def over_years(self) -> list[Row]:
        """Two or three visits, months apart; a fail may have been remedied."""
        blank = self.blank() | {"Result": ""}
        rows: list[Row] = []
        for visit in range(self.draw.choice([2, 2, 3])):
            row = shifted(self.drawn(blank) | {"Result": ""}, -190 * visit)
            rows.insert(0, row)
        for row in rows[:-1]:
            row["Remedy"] = self.draw.choice(["", *DONE[:2]]) if self.bad(row) else ""
        if any(row["Remedy"] for row in rows):  # after a remedy only a whole test says something
            rows[-1] = self.good(blank) | {"Date": rows[-1]["Date"]}
            rows = [rows[0], rows[-1]] if rows[0]["Remedy"] else rows[-2:]
        return rows

    def bad(self, row: Row) -> bool:
        """Whether a row fails for certain, so that a remedy may stand beside it."""
        texts = [row[one] for one in AC[:2] if one in row] or [row.get("Trip time 150 mA (ms)", "")]
        return "no trip" in texts or row["Visual"] in ("fail", "cracked")

    def day_after_day(self) -> list[Row]:
        """Tests on three days in a row: a visit spans two of them and does not chain."""
        blank = self.blank()
        return [shifted(self.drawn(blank) | {"Result": ""}, day) for day in range(3)]

    def with_outlets(self) -> list[Row]:
        """Two to four outlets, sometimes an earlier visit at which there was one more."""
        blank, number = self.blank(), self.draw.choice([2, 3, 4])
        rows = [self.drawn(blank) | {"Outlet": str(one + 1), "Result": ""} for one in range(number)]
        if self.draw.random() < 0.3:
            before = [shifted(self.good(blank), -200) | {"Outlet": str(one + 1)} for one in range(number)]
            return [*before, *(rows if self.draw.random() < 0.5 else rows[:-1])]
        return rows


def shifted(row: Row, days: int) -> Row:
    """The same row on another day."""
    return row | {"Date": (date.fromisoformat(row["Date"]) + timedelta(days=days)).isoformat()}
