"""Pages, messages, docstrings and comments keep to the words of docs/style.md."""

from __future__ import annotations

import re
from pathlib import Path

import pytest

ROOT = Path(__file__).resolve().parents[2]
STYLE = ROOT / "docs" / "style.md"
NEVER = re.findall(r"^\| `(.+?)` \|", STYLE.read_text("utf-8").split("| never |")[1], re.M)
SUFFIXES = {".py", ".toml", ".js", ".html", ".css"}
FILES = [
    *(path for path in sorted((ROOT / "tunnelsite").rglob("*")) if path.suffix in SUFFIXES and "vendor" not in path.parts),
    *(path for path in sorted((ROOT / "docs").rglob("*.md")) if path != STYLE),
    *(ROOT / name for name in ("README.md", "DEVELOPERS.md", "sample_data/README.md")),
]  # fmt: skip


def test_the_list_is_read() -> None:
    assert len(NEVER) > 10 and len(FILES) > 300


@pytest.mark.parametrize("words", NEVER)
def test_words_that_are_never_used(words: str) -> None:
    pattern = re.compile(rf"(?<!\w){re.escape(words)}(?!\w)".replace(r"\ ", r"\s+"), re.IGNORECASE)
    found = []
    for path in FILES:
        text = path.read_text("utf-8")
        found += [
            f"{path.relative_to(ROOT)}:{text.count(chr(10), 0, hit.start()) + 1}" for hit in pattern.finditer(text)
        ]
    assert not found, f"{words!r} is used; docs/style.md says what to write instead"
