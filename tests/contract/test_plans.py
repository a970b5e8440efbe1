"""The plug-in protocol for plans, held by every plan, built in or offered by another package."""

from __future__ import annotations

import dataclasses
import json
import pickle
import sys
import xml.etree.ElementTree as ElementTree
from pathlib import Path

import jsonschema
import numpy as np
import pytest

from tests.scan.grounds import features, hills, site
from tunnelsite.core import catalogue
from tunnelsite.core.errors import OutputFailed
from tunnelsite.core.house import House
from tunnelsite.core.placement import Placement
from tunnelsite.core.plan_kind import content_faults, plan_faults
from tunnelsite.core.sources import source_words
from tunnelsite.plans.plan import AS_PNG, LAYERS, SUMMARY, named_files
from tunnelsite.settings.field import fields_of, json_schema, read_settings
from tunnelsite.settings.model import Settings

EXAMPLE = Path(__file__).parents[2] / "docs" / "examples" / "plugin"
sys.path.insert(0, str(EXAMPLE))
from tunnelsite_example_plugin.corners import CORNERS  # noqa: E402

sys.path.remove(str(EXAMPLE))
PLANS = [*catalogue.plans(), CORNERS]
HOUSE = House(6.0, 15.0)
ROWS, COLS, WEST, NORTH = 90, 110, 499_900.0, 4_700_100.0  # the corner of `site`
LON, LAT = -81.00054726, 42.45282629  # in the middle of it


def every(kinds=PLANS):
    return pytest.mark.parametrize("kind", kinds, ids=lambda kind: kind.id)


@pytest.fixture(scope="module")
def farm():
    """A field with a building, a tree, a wet corner and water."""
    import shapely

    def at(east: float, south: float) -> shapely.Point:
        return shapely.Point(WEST + east, NORTH - south)

    return site(
        hills(ROWS, COLS, 4),
        structures=features([at(14, 14).buffer(4)], name="structures"),
        obstacles=features([at(55, 80)], name="obstacles", height_m=[8.0], what=["tree"]),
        keep_outs=(features([at(100, 80).buffer(6)], name="wet"),),
        services={"water": features([at(8, 50)], name="water")},
    )


@pytest.fixture(scope="module")
def place() -> Placement:
    return Placement(LON, LAT, 90.0, HOUSE, settings={"crop_months": "10-01:04-30", "halo": "20m", "azimuths": 8})


@pytest.fixture(scope="module")
def made(farm, place):
    """Every plan of the place, made once."""
    found: dict = {}

    def of(kind):
        if kind.id not in found:
            found[kind.id] = kind(farm, place)
        return found[kind.id]

    return of


@every()
def test_the_description_is_whole(kind) -> None:
    assert plan_faults(kind) == []
    assert source_words(kind.source) and kind.text.endswith(".")
    fields = fields_of(kind.settings)
    assert [field.name for field in fields] == [field.name for field in dataclasses.fields(kind.settings)]
    for field in fields:
        assert field.words.title and field.words.section and field.words.help.endswith("."), field.name
    assert dataclasses.fields(kind.settings) == () or kind.settings.__dataclass_params__.frozen
    known = {field.key for field in fields_of(Settings)}
    assert set(kind.reads) <= known and set(kind.follows) <= known
    assert all(one.title for one in kind.gives)


@every()
def test_its_settings_go_to_json_and_back(kind) -> None:
    assert read_settings(kind.settings, {}) == kind.settings()
    schema = json.loads(json.dumps(json_schema(kind.settings), allow_nan=False))
    jsonschema.Draft202012Validator.check_schema(schema)
    for field in fields_of(kind.settings):
        if field.default is None:
            continue
        told = json.loads(json.dumps(field.default))
        assert read_settings(kind.settings, {field.key: told}) == kind.settings(), field.name
        assert field.default_words, field.name


@every()
def test_it_is_made_of_any_place_and_is_what_it_says(kind, made, place) -> None:
    plan = made(kind)
    assert content_faults(kind, plan) == []
    assert plan.kind == kind.id and plan.title
    assert all(isinstance(text, str) and text for text in (*plan.notes, *plan.cautions))
    assert isinstance(plan.notes, tuple) and isinstance(plan.cautions, tuple) and plan.cautions
    json.dumps(plan.summary, allow_nan=False)
    for name, layer in plan.layers.items():
        assert layer.crs is not None, name
        assert layer.geometry.is_valid.all(), name
    for name, table in plan.tables.items():
        assert len(table.columns), name
    for name, picture in plan.pictures.items():
        root = ElementTree.fromstring(picture)
        assert root.tag == "{http://www.w3.org/2000/svg}svg", name
        title = root.find("{http://www.w3.org/2000/svg}title")
        assert root.get("role") == "img" and (root.get("aria-label") or title.text), name
    assert len(repr(plan)) < 400 and plan.title.split(",")[0] in plan._repr_html_()
    assert pickle.loads(pickle.dumps(plan)).summary == plan.summary


@every()
def test_it_is_pure(kind, farm, place, made, capfd, tmp_path, monkeypatch) -> None:
    monkeypatch.chdir(tmp_path)
    before = farm.dem.values.copy()
    again = kind(farm, place, kind.settings())
    assert again.summary == made(kind).summary and again.pictures == made(kind).pictures
    assert np.array_equal(farm.dem.values, before, equal_nan=True)
    said = capfd.readouterr()
    assert not said.out and not said.err and list(tmp_path.iterdir()) == []


@every()
def test_it_writes_the_files_that_it_names_and_replaces_nothing(kind, made, tmp_path) -> None:
    plan = made(kind)
    contents = {
        LAYERS,
        SUMMARY,
        *plan.pictures,
        *plan.tables,
        *plan.documents,
        *(name + AS_PNG for name in plan.pictures),
    }
    assert plan.files and set(plan.files) <= contents
    assert plan.layers or LAYERS not in plan.files
    paths = plan.write(tmp_path / "new")
    assert paths == named_files(tmp_path / "new" / plan.stem, plan.files)
    assert {path.name for path in (tmp_path / "new").iterdir()} == {path.name for path in paths.values()}
    assert all(path.stat().st_size > 0 for path in paths.values())
    first = {path: path.read_bytes() for path in paths.values()}
    next(iter(paths.values())).unlink()
    if len(paths) > 1:
        with pytest.raises(OutputFailed, match="exists"):
            plan.write(tmp_path / "new")
        assert not next(iter(paths.values())).exists()
    assert plan.write(tmp_path / "new", overwrite=True) == paths
    texts = [path for path in first if path.suffix in (".svg", ".csv", ".json")]
    assert all(path.read_bytes() == first[path] for path in texts)


@every()
def test_the_server_offers_it_and_writes_what_it_gives(kind, made, tmp_path) -> None:
    pytest.importorskip("pygeoapi", reason="pygeoapi is not installed")
    from tests.hosts.server.ogc_schemas import SCHEMAS
    from tunnelsite.hosts.server.plan_files import write_outputs
    from tunnelsite.hosts.server.plan_offer import plan_offer

    offer = plan_offer(kind)
    assert {"dem", "parcels", "lon", "lat", "bearing", "house", *kind.reads, *kind.follows} <= offer.inputs.keys()
    assert set(offer.outputs) == {SUMMARY, *(one.id for one in kind.gives)}
    told = offer.description("1.0", {"raster": {}, "features": {}, "text": {}})
    jsonschema.Draft202012Validator(SCHEMAS | {"$ref": "#/$defs/process"}).validate(told | {"links": []})
    write_outputs(kind, made(kind), tmp_path, list(offer.outputs))
    there = {path.name for path in tmp_path.iterdir()}
    assert {item.file for item in offer.outputs.values() if not item.optional} <= there
    assert there <= {item.file for item in offer.outputs.values()}
    for path in tmp_path.glob("*json"):
        json.loads(path.read_text("utf-8"))
    for name, item in offer.inputs.items():
        if item.kind == "literal":
            jsonschema.Draft202012Validator.check_schema(item.schema)
            free = item.schema.get("type") == "string" and "enum" not in item.schema
            assert not free or item.schema.get("maxLength") or item.schema.get("pattern"), name


def test_each_built_in_plan_is_a_public_function_of_its_name() -> None:
    import tunnelsite

    for kind in catalogue.plans():
        assert kind.id in tunnelsite.__all__ and callable(getattr(tunnelsite, kind.id)), kind.id
