"""What libraries of validation in general need for fifteen checks of the same file: `python peers.py pandera FILE`.

They are told what each column may hold, as ours is not, and answer how many cells break it; none of them judges a
device, compares technicians or explains. `pip install '.[bench]'` installs them.
"""

from __future__ import annotations

import argparse
import sys
from pathlib import Path

NAMED = {"Device": r"W-\d{7}", "Site": r"Site \d+", "Tested at": r"\d{4}-\d\d-\d\d \d\d:\d\d(?::\d\d)?",
         "Tested by": r"Technician \d+", "Instrument": r"Meter \d+"}  # fmt: skip
CHOSEN = {"Rated IΔn (mA)": ["10", "30", "100", "300"], "Visual": ["pass", "fail"], "Test button": ["pass", "fail"],
          "Result": ["pass", "fail"]}  # fmt: skip
MEASURED = {"Trip time 1× 0° (ms)": 300.0, "Trip time 1× 180° (ms)": 300.0, "Trip time 5× 0° (ms)": 40.0,
            "Ramp trip current (mA)": 300.0}  # fmt: skip


def pandera(path: Path) -> int:
    """Cells that fail, all collected."""
    import pandas as pd
    import pandera.pandas as pa

    columns = {name: pa.Column(object, pa.Check.str_matches(f"^{p}$")) for name, p in NAMED.items()}
    columns |= {name: pa.Column(object, pa.Check.isin(values)) for name, values in CHOSEN.items()}
    columns |= {n: pa.Column(float, [pa.Check.gt(0), pa.Check.le(most)]) for n, most in MEASURED.items()}
    table = pd.read_csv(path, dtype=object, na_filter=False)
    for name in MEASURED:
        table[name] = pd.to_numeric(table[name], errors="coerce").astype(float)
    try:
        pa.DataFrameSchema(columns).validate(table, lazy=True)
    except pa.errors.SchemaErrors as errors:
        return len(errors.failure_cases)
    return 0


def pointblank(path: Path) -> int:
    """Cells that fail, counted."""
    import pandas as pd
    import pointblank as pb

    table = pd.read_csv(path, dtype=object, na_filter=False)
    for name in MEASURED:
        table[name] = pd.to_numeric(table[name], errors="coerce").astype(float)
    asked = pb.Validate(data=table)
    for name, pattern in NAMED.items():
        asked = asked.col_vals_regex(columns=name, pattern=f"^{pattern}$")
    for name, values in CHOSEN.items():
        asked = asked.col_vals_in_set(columns=name, set=values)
    for name, most in MEASURED.items():
        asked = asked.col_vals_gt(columns=name, value=0).col_vals_le(columns=name, value=most)
    failed = asked.interrogate().n_failed()
    return int(sum(failed.values()))


def frictionless(path: Path) -> int:
    """Cells that fail, all collected."""
    from frictionless import Resource, Schema, system, validate

    fields = {name: {"type": "string", "constraints": {"pattern": p}} for name, p in NAMED.items()}
    fields |= {name: {"type": "string", "constraints": {"enum": values}} for name, values in CHOSEN.items()}
    fields |= {n: {"type": "number", "constraints": {"minimum": 0, "maximum": most}} for n, most in MEASURED.items()}
    with path.open(encoding="utf-8") as stream:
        heading = stream.readline().rstrip("\n").split(",")
    schema = {"fields": [{"name": name, **fields.get(name, {"type": "string"})} for name in heading]}
    with system.use_context(trusted=True):
        report = validate(Resource(path=str(path), schema=Schema.from_descriptor(schema)), limit_errors=10**9)
    return int(report.stats["errors"] or 0)


PEERS = {"pandera": pandera, "pointblank": pointblank, "frictionless": frictionless}


if __name__ == "__main__":
    parser = argparse.ArgumentParser(description=(__doc__ or "").splitlines()[0])
    parser.add_argument("peer", choices=PEERS)
    parser.add_argument("file", type=Path)
    options = parser.parse_args()
    print(PEERS[options.peer](options.file), "cells fail")
    sys.exit()
