"""Renew `samples/honest-day-audit.png`, the picture in the README: `python samples/picture.py` (needs Chromium)."""

from __future__ import annotations

import datetime as dt
import shutil
import subprocess
import sys
import tempfile
from pathlib import Path

SAMPLES = Path(__file__).parent
DAY = dt.date(2026, 11, 25)
QUIET = (
    "--headless", "--no-sandbox", "--disable-gpu", "--hide-scrollbars", "--no-first-run", "--disable-sync",
    "--disable-background-networking", "--disable-component-update", "--window-size=1280,1500",
)  # fmt: skip


def main() -> None:
    """Audit the honest day, open its page in Chromium and keep what stands at the top of it."""
    browser = shutil.which("chromium") or shutil.which("chromium-browser")
    if browser is None:
        sys.exit("Chromium is needed to take the picture.")
    with tempfile.TemporaryDirectory() as folder:
        audit = [sys.executable, "-m", "rcdcheck", "audit", str(SAMPLES / "honest-day.csv"), "--as-of", DAY.isoformat(),
                 "--out", folder, "--write", "html", "--quiet"]  # fmt: skip
        subprocess.run(audit, check=False)
        page = Path(folder) / "honest-day-audit.html"
        target = SAMPLES / "honest-day-audit.png"
        subprocess.run(
            [browser, *QUIET, f"--user-data-dir={folder}/browser", f"--screenshot={target}", page.as_uri()],
            check=True,
            capture_output=True,
        )
    print(f"{target.name} renewed; look at it.")


if __name__ == "__main__":
    main()
