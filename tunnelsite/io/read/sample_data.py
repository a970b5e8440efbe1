"""Where the invented sample farm lies."""

from __future__ import annotations

from pathlib import Path

from tunnelsite.core.errors import UsageError


def sample_data() -> Path:
    """The folder of the invented farm: beside the package in a checkout, inside it where it was installed."""
    package = Path(__file__).resolve().parents[2]
    for folder in (package / "sample_data", package.parent / "sample_data"):
        if (folder / "farm.toml").is_file():
            return folder
    raise UsageError("the sample data is missing", "the folder sample_data", "install tunnelsite again")
