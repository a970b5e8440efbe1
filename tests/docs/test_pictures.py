"""Pictures that the docs show are there, small, and made by a script that still runs."""

from __future__ import annotations

import re
import runpy
import xml.etree.ElementTree as ElementTree
from pathlib import Path

import numpy as np
import pytest

from tests.docs.conftest import DOCS

ROOT = DOCS.parent
PAGES = sorted([ROOT / "README.md", *DOCS.glob("*.md")])
MOST_BYTES = 300_000


@pytest.mark.parametrize("page", PAGES, ids=lambda page: page.name)
def test_pictures_and_links_of_a_page_exist(page: Path) -> None:
    text = page.read_text("utf-8")
    links = re.findall(r"\]\(([^)\s]+)\)", text) + re.findall(r"<img[^>]+src=\"([^\"]+)\"", text)
    inside = [link.partition("#")[0] for link in links if not re.match(r"[a-z]+:", link)]
    missing = [link for link in inside if link and not (page.parent / link).exists()]
    assert not missing


def test_pictures_are_small_and_hold_nothing_foreign() -> None:
    scripts = (DOCS / "pictures" / name for name in ("make_pictures.py", "make_desk_pictures.py"))
    names = (*(name for script in scripts for name in runpy.run_path(str(script))["PICTURES"]), "architecture.svg")
    found = {path.name for path in (DOCS / "pictures").iterdir() if path.suffix in (".png", ".svg")}
    assert found == set(names)
    for name in found:
        data = (DOCS / "pictures" / name).read_bytes()
        assert 5_000 < len(data) < MOST_BYTES, name
        if name.endswith(".svg"):
            root = ElementTree.fromstring(data)
            assert root.tag.endswith("svg") and not any("script" in element.tag for element in root.iter())
            assert root.find("{http://www.w3.org/2000/svg}title") is not None  # can be read out


@pytest.mark.slow
def test_the_script_still_makes_every_picture(first_screening, tmp_path: Path) -> None:
    image = pytest.importorskip("PIL.Image")
    made = runpy.run_path(str(DOCS / "pictures" / "make_pictures.py"))
    made["make_pictures"](tmp_path, first_screening.folder / "sites.gpkg")
    assert sorted(path.name for path in tmp_path.iterdir()) == sorted(made["PICTURES"])
    with image.open(tmp_path / "map.png") as picture:
        pixels = np.asarray(picture.convert("RGB"))
    colours = np.unique(pixels.reshape(-1, 3), axis=0)
    assert min(pixels.shape[:2]) > 600 and len(colours) > 50  # a map, not an empty sheet
    assert all(path.stat().st_size < MOST_BYTES for path in tmp_path.iterdir())
