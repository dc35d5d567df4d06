"""Make the sample sheets again: `python samples/make.py [FOLDER]`, by default in place.

The scenario is invented: temporary power of a winter market and its stallholders, tested before it opens.

  honest-day.csv     one careful day; see making/honest_day.py for the faults that it shows
  messy-day.xlsx     the same trade typed by tired people; see making/messy_day.py for each slip
  doubtful-month/    a sheet a working day, one technician of five doubtful; see making/doubtful_month.py
    earlier-visit.csv  the visit a year before
  untidy-month/      seven sheets in as many layouts, gaps, near misses, two doubtful people; see making/untidy_month.py

Needs numpy and openpyxl. The same bytes come out on every run.
"""

from __future__ import annotations

import sys
from pathlib import Path

from making import doubtful_month, honest_day, messy_day, untidy_month


def make(folder: Path) -> None:
    """Write every sample below `folder`."""
    honest_day.write(folder)
    messy_day.write(folder)
    doubtful_month.write(folder)
    untidy_month.write(folder)


if __name__ == "__main__":
    make(Path(sys.argv[1]) if len(sys.argv) > 1 else Path(__file__).parent)
