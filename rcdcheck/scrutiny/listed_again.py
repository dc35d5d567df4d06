"""Which rows list a test once more under another name, place or date, so that no question counts them as evidence.

A summary, an export with other identifiers, a list without sites or a sheet mended and sent again repeats readings
honestly. A row is taken as the same test listed again where an earlier row of another sheet has the same readings and
either the same clock time, no site to the contrary; or the same identifier but for signs, spaces and leading zeros and
a date at most a week away, no site to the contrary. (The name of a sheet may be read as a site: beside one identifier
and no date, or one clock time, it says nothing to the contrary.) Rows whose remark says that nobody could get to
the device hold what stood there before, and are left out too.
"""

from __future__ import annotations

import numpy as np
import pandas as pd

from rcdcheck import identity
from rcdcheck.intake.cells import remarks
from rcdcheck.numbering import used_codes
from rcdcheck.scrutiny.answer import Rows
from rcdcheck.scrutiny.preparation import settings
from rcdcheck.tables import Codes, Mask, Numbers, Tables

NOWHERE = -1
LISTS = 12  # lists of one test that are compared with one another


def listed_again(tables: Tables, readings: tuple[Numbers, Numbers, Numbers], names: Codes) -> Mask:
    """Tests that repeat one of another sheet, by readings in ms, ms and mA, NaN for none, shape (tests,)."""
    tests = tables.tests
    found = np.zeros(len(tests), dtype=bool)
    if len(tables.sheets) < 2:
        return found
    minute = tests["tested_at"].to_numpy().astype("datetime64[s]").astype(np.int64)
    known = tests["clock_known"].to_numpy() & tests["tested_at"].notna().to_numpy()
    rows = pd.DataFrame(
        {
            "test": np.arange(len(tests)),
            "sheet": tests["sheet"].to_numpy(),
            "site": identity.folded(tests["site"].to_numpy(), tables.vocabulary),
            "name": names,
            "day": identity.days(tests),
            "at": np.where(known, minute, NOWHERE),
            **{f"reading{i}": np.nan_to_num(r, nan=-1.0) for i, r in enumerate(readings)},
        }
    )
    several = (~np.isnan(np.column_stack(readings))).sum(axis=1) >= 2
    for key in ("at", "name"):
        found[_repeats(rows[(rows[key] != NOWHERE) & several], key)] = True
    return found


def _repeats(rows: pd.DataFrame, key: str) -> Rows:
    """Tests with the same key and readings as an earlier one, whose sheet, site and day let them be the same test."""
    groups = [key, "reading0", "reading1"]
    held = rows[rows.duplicated(groups, keep=False)].sort_values([*groups, "test"])
    number = held.groupby(groups, sort=False).ngroup().to_numpy()
    found = [np.zeros(0, dtype=np.int64)]
    for back in range(1, min(LISTS, len(held))):
        one, other = held.iloc[back:], held.iloc[:-back]
        same = (number[back:] == number[:-back]) & (one["sheet"].to_numpy() != other["sheet"].to_numpy())
        ramp, other_ramp = one["reading2"].to_numpy(), other["reading2"].to_numpy()
        same &= (ramp == other_ramp) | (ramp < 0) | (other_ramp < 0)  # one of the lists may leave it out
        here, there = one["site"].to_numpy(), other["site"].to_numpy()
        a, b = one["day"].to_numpy(), other["day"].to_numpy()
        undated = (a == identity.UNDATED) | (b == identity.UNDATED)
        placed = (here == there) | (here == 0) | (there == 0)
        same &= placed if key == "at" else placed | undated | _same_minute(one, other)
        apart = np.abs(np.where(undated, 0, a) - np.where(undated, 0, b))
        found.append(one["test"].to_numpy()[same & (apart <= settings("preparation")["mended_days"])])
    return np.concatenate(found)


def _same_minute(one: pd.DataFrame, other: pd.DataFrame) -> Mask:
    result: Mask = (one["at"].to_numpy() == other["at"].to_numpy()) & (one["at"].to_numpy() != NOWHERE)
    return result


def plain_names(tables: Tables) -> Codes:
    """Number of each identifier without case, signs, spaces and leading zeros, −1 where there is none."""
    codes = tables.tests["device"].to_numpy()
    used, back = used_codes(codes)
    numbers = pd.factorize(identity.plain(tables.texts(used)))[0].astype(np.int32)
    return np.where(used == 0, NOWHERE, numbers)[back].astype(np.int32)


def not_reached(tables: Tables) -> Mask:
    """Tests whose remark says that there was no access, shape (tests,)."""
    used, back = used_codes(tables.tests["remark"].to_numpy())
    result: Mask = np.array([bool(remarks.no_access(t)) for t in tables.texts(used)] or [False], dtype=bool)[back]
    return result


def same_device(tables: Tables, device: Codes, name: Codes) -> Codes:
    """Number of the device of each test, those of lists without sites being one with their like-named elsewhere.

    Two sites may use one identifier, and keep it apart; a list without a site does not say which of them it means,
    and then stays apart too.
    """
    site = identity.folded(tables.tests["site"].to_numpy(), tables.vocabulary)
    frame = pd.DataFrame({"name": name, "site": site})[(name != NOWHERE) & (site != 0)]
    sites = frame.groupby("name")["site"].nunique()
    lone = np.isin(name, sites.index[sites > 1], invert=True) & (name != NOWHERE)
    unsited = np.isin(name, np.unique(name[(site == 0)]))
    joined = np.where(lone & unsited, -1 - name.astype(np.int64), device)
    return pd.factorize(joined)[0].astype(np.int32)
