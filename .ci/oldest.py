"""The oldest versions that pyproject.toml allows, as constraints for pip."""

import tomllib
from pathlib import Path

project = tomllib.loads(Path("pyproject.toml").read_text(encoding="utf-8"))["project"]
for wanted in [*project["dependencies"], *project["optional-dependencies"]["test"]]:
    if ">=" in wanted:
        print(wanted.replace(">=", "=="))
