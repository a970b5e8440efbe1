"""Messages on the page name its own fields, never an option of the command line."""

from __future__ import annotations

from pathlib import Path

import numpy as np
import pytest
import rasterio
from rasterio.transform import from_origin

from tests.desk.fields import field_project
from tunnelsite.core.errors import InputRefused
from tunnelsite.desk.answers import problem_of
from tunnelsite.desk.measures import Units
from tunnelsite.desk.page_words import heading_of, on_the_page
from tunnelsite.desk.roles import ROLES
from tunnelsite.desk.setting_fields import field_entries
from tunnelsite.desk.sheet import questions
from tunnelsite.io.read.raster_header import raster_header
from tunnelsite.io.read.unit_questions import ask_unit
from tunnelsite.settings.field import fields_of
from tunnelsite.settings.kinds import Output
from tunnelsite.settings.model import Settings

DRAWN_BY_FORM = {"months", "choice", "flag", "length", "angle", "number", "integer", "text"}  # page/sheet/parts.js
LISTS = {"house", "preset"}  # page/sheet/house.js


@pytest.mark.parametrize(
    ("words", "said"),
    [
        ("say --cell 5m to interpolate", "say “Working cell” under Ground: 5m to interpolate"),
        ("say --elevation-unit m, dm or ft", "say “Unit of heights” under Ground: m, dm or ft"),
        ("beyond the land (`--halo`) shades nothing", "beyond the land (“Land around” under Ground) shades nothing"),
        ("leave --far-dem out", "leave “Land beyond” in the list of files out"),
        ("with --service.", "with “Used as” in the list of files."),
        ("--price: no such unit", "the key “price” of farm.toml: no such unit"),
        ("use --dem-crs EPSG:xxxx.", "use “Coordinate system” under Ground: EPSG:xxxx."),
        (
            "give --sources FILE, or an address",
            "give a list of sources (sources.toml) dropped on the page, or an address",
        ),
        ("add --overwrite", "add --overwrite of the command line"),
        ("12 -- 15 ft, well--known", "12 -- 15 ft, well--known"),
    ],
)
def test_option_becomes_its_place_on_the_page(words: str, said: str) -> None:
    assert on_the_page(words) == said


def test_every_setting_is_found_on_the_page_or_in_the_project_file() -> None:
    shown = {entry.name for entry in field_entries({}, Units(True))}
    roles = {role.id.partition(":")[0]: role.title for role in ROLES}
    for field in fields_of(Settings):
        said = on_the_page(f"give {field.option}")
        if field.key in shown:
            assert f"“{field.words.title}” under " in said
        elif field.key in roles:
            assert "in the list of files" in said
        elif isinstance(field.words, Output) or field.key in ("overwrite", "drawn"):
            assert "of the command line" in said
        else:
            assert "Weights" in said or f"“{field.key}” of farm.toml" in said


def test_every_field_can_be_drawn_as_a_form() -> None:
    for entry in field_entries({}, Units(True)):
        assert entry.kind in DRAWN_BY_FORM or entry.kind == "houses" or entry.name in LISTS, entry.name
        assert entry.heading in ("ground", "surroundings", "house", "find")
    assert not heading_of(next(field for field in fields_of(Settings) if field.key == "keep_out"))


@pytest.mark.parametrize(("option", "question"), [("DEM", "elevation_unit"), ("--far-dem", "far_elevation_unit")])
def test_unit_of_heights_is_asked_on_the_page(tmp_path: Path, option: str, question: str) -> None:
    """A map in US survey feet whose heights carry no unit (EPSG:2262)."""
    field_project(tmp_path)
    profile = {"driver": "GTiff", "width": 4, "height": 4, "count": 1, "dtype": "float32", "crs": "EPSG:2262"}
    with rasterio.open(tmp_path / "feet.tif", "w", transform=from_origin(1e6, 1e6, 3, 3), **profile) as file:
        file.write(np.ones((1, 4, 4), "float32"))
    with pytest.raises(InputRefused) as refused:
        ask_unit(raster_header(str(tmp_path / "feet.tif"), option), 1)
    told = problem_of(refused.value).model_dump()
    assert "--" not in told["words"] and "over HTTP" not in told["words"]
    assert [one.id for one in questions({"problem": told})] == [question]
