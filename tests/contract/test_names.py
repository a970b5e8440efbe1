"""One name for one thing: no class of the package has the name of another."""

from __future__ import annotations

import ast
from collections import defaultdict
from pathlib import Path

PACKAGE = Path(__file__).resolve().parents[2] / "tunnelsite"


def test_no_class_has_the_name_of_another() -> None:
    homes: dict[str, list[str]] = defaultdict(list)
    for path in sorted(PACKAGE.rglob("*.py")):
        for node in ast.walk(ast.parse(path.read_text(encoding="utf-8"))):
            if isinstance(node, ast.ClassDef):
                homes[node.name].append(str(path.relative_to(PACKAGE)))
    assert len(homes) > 300, "the package was not found"
    twice = {name: places for name, places in homes.items() if len(places) > 1}
    assert not twice, "\n".join(f"{name}: {', '.join(places)}" for name, places in twice.items())
