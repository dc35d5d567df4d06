"""Renew the pictures in the README, the head of the honest day's page and its trip times: `python samples/picture.py`.

Needs Chromium.
"""

from __future__ import annotations

import datetime as dt
import re
import shutil
import subprocess
import sys
import tempfile
from pathlib import Path

SAMPLES = Path(__file__).parent
DAY = dt.date(2026, 11, 25)
QUIET = (
    "--headless", "--no-sandbox", "--disable-gpu", "--hide-scrollbars", "--no-first-run", "--disable-sync",
    "--disable-background-networking", "--disable-component-update",
)  # fmt: skip
ONE = """<style>
body .page > :not(main), main > :not(#pictures), #pictures > :not(.gallery), .picture:not(#picture-times), details {
  display: none !important }
section, .picture { margin-top: 1rem !important }
</style></head>"""


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
        _picture(browser, page, SAMPLES / "honest-day-audit.png", 1500)
        alone = Path(folder) / "times.html"
        text = page.read_text(encoding="utf-8")
        policy = re.compile(r'<meta http-equiv="Content-Security-Policy"[^>]*>')  # it lets in no style but its own
        alone.write_text(policy.sub("", text).replace("</head>", ONE, 1), encoding="utf-8")
        _picture(browser, alone, SAMPLES / "honest-day-times.png", 980)


def _picture(browser: str, page: Path, target: Path, height: int) -> None:
    """Keep what stands at the top of a page, 1280 pixels wide."""
    size, profile = f"--window-size=1280,{height}", f"--user-data-dir={page.parent}/browser"
    command = [browser, *QUIET, size, profile, f"--screenshot={target}", page.as_uri()]
    subprocess.run(command, check=True, capture_output=True)
    print(f"{target.name} renewed; look at it.")


if __name__ == "__main__":
    main()
