"""The page on the architecture: its picture is that of the imports, and every module it names is there."""

from __future__ import annotations

import re
import runpy

from tests.docs.conftest import DOCS

MAKER = runpy.run_path(str(DOCS / "pictures" / "make_architecture.py"))


def test_the_picture_is_that_of_the_imports() -> None:
    shown = (DOCS / "pictures" / "architecture.svg").read_text("utf-8")
    numbers = re.compile(r">(\d+)</text>|stroke-width=\"[\d.]+\"")  # a new module or import does not make it wrong
    assert numbers.sub("", shown) == numbers.sub("", MAKER["architecture_svg"]()), (
        "run docs/pictures/make_architecture.py"
    )


def test_no_line_leads_up() -> None:
    order = list(MAKER["FOLDERS"])
    beside = {("criteria", "processes"), ("processes", "criteria")}
    up = [pair for pair in MAKER["imports"]() if order.index(pair[0]) < order.index(pair[1]) or pair in beside]
    assert not up


def test_what_the_page_names_is_there() -> None:
    text = (DOCS / "architecture.md").read_text("utf-8")
    package = DOCS.parent / "tunnelsite"
    named = set(re.findall(r"`((?:[a-z_]+/)+(?:[a-z_]+\.py)?)`", text))
    roots = (package, DOCS.parent, DOCS)
    assert not [name for name in named if not any((root / name.removeprefix("tunnelsite/")).exists() for root in roots)]
