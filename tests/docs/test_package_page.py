"""The page of the package outside the repository: the README without links and pictures that would lead nowhere."""

from __future__ import annotations

import re
import tomllib
from pathlib import Path

ROOT = Path(__file__).resolve().parents[2]


def outside() -> str:
    settings = tomllib.loads((ROOT / "pyproject.toml").read_text("utf-8"))
    hook = settings["tool"]["hatch"]["metadata"]["hooks"]["fancy-pypi-readme"]
    text = "".join((ROOT / part["path"]).read_text("utf-8") for part in hook["fragments"])
    for one in hook["substitutions"]:
        text = re.sub(one["pattern"], one["replacement"], text)
    return text


def test_no_link_leads_to_a_file_beside_it() -> None:
    text = outside()
    assert [link for link in re.findall(r"\]\(([^)]+)\)", text) if not link.startswith(("https://", "#"))] == []
    assert "![" not in text and "docs/method.md" in text


def test_no_table_is_left_without_rows() -> None:
    assert re.search(r"(?m)^\|[-| ]+\|\n(?!\|)", outside()) is None


def test_nothing_else_is_lost() -> None:
    inside = (ROOT / "README.md").read_text("utf-8")
    headings = re.findall(r"(?m)^#+ .*$", inside)
    assert headings and re.findall(r"(?m)^#+ .*$", outside()) == headings
