"""The citation file says what the package says."""

from __future__ import annotations

import re
import tomllib
from pathlib import Path

ROOT = Path(__file__).resolve().parents[2]


def test_citation_is_of_this_version_and_licence() -> None:
    """Keys required by the Citation File Format 1.2.0 (schema.json, "required")."""
    lines = (ROOT / "docs" / "CITATION.cff").read_text("utf-8").splitlines()
    told = dict(line.split(": ", 1) for line in lines if re.match("[a-z-]+: ", line))
    project = tomllib.loads((ROOT / "pyproject.toml").read_text("utf-8"))["project"]
    assert {"cff-version", "message", "title"} <= set(told) and "authors:" in lines
    assert (told["title"], told["version"], told["license"]) == (
        project["name"],
        project["version"],
        project["license"],
    )
    assert f"  - name: {project['authors'][0]['name']}" in lines
