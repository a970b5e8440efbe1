"""The table of promises names tests that are there."""

from __future__ import annotations

import re
from pathlib import Path

ROOT = Path(__file__).resolve().parents[2]


def test_every_test_that_is_named_is_there() -> None:
    table = (
        (ROOT / "docs" / "security.md").read_text("utf-8").split("## What is promised")[1].split("## What is not")[0]
    )
    modules = {path.name: path for path in (ROOT / "tests").rglob("test_*.py")}
    functions = {
        name
        for path in modules.values()
        for name in re.findall(r"^def (test_\w+)", path.read_text("utf-8"), re.MULTILINE)
    }
    named = re.findall(r"`(?:tests/(?:\w+/)*)?(test_\w+(?:\.py)?)`", table)
    assert len(named) > 30
    for name in named:
        assert name in modules if name.endswith(".py") else name in functions, name
    for path in re.findall(r"`(tests/[\w/]+\.py)`", table):
        assert (ROOT / path).is_file(), path
