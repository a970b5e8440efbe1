"""The plug-in protocol, held by every criterion and process, built in or offered by another package."""

from __future__ import annotations

import math
import re
import sys
from dataclasses import replace
from importlib.metadata import EntryPoint
from pathlib import Path

import numpy as np
import pytest
import shapely

from tests.scan.grounds import features, hills, site
from tunnelsite import Settings
from tunnelsite.core import catalogue
from tunnelsite.core.house import House, Pad
from tunnelsite.core.layers import Layer
from tunnelsite.core.wind_rose import WindRose
from tunnelsite.scan.strip import Strip
from tunnelsite.screening.judges import judges_of
from tunnelsite.screening.layers import prepared
from tunnelsite.sun.irradiance import clear_sky_steps
from tunnelsite.sun.position import Observer
from tunnelsite.sun.season import season_sun

EXAMPLE = Path(__file__).parents[2] / "docs" / "examples" / "plugin"
sys.path.insert(0, str(EXAMPLE))
from tunnelsite_example_plugin import HEIGHT_BAND, RELIEF  # noqa: E402

sys.path.remove(str(EXAMPLE))
CRITERIA = [*catalogue.criteria(), RELIEF]
PROCESSES = [*catalogue.processes(), HEIGHT_BAND]
EVERY = [*CRITERIA, *PROCESSES]
SETTINGS = Settings(halo_m=10, weight={"wetness": 1.0, "windbreak": 0.5})


WEST, NORTH = 499_900.0, 4_700_100.0  # the corner of `site`
TREE, LAMP = shapely.Point(WEST + 50, NORTH - 8), shapely.Point(WEST + 5, NORTH - 5)
# 0.3 ha of ground holds no line through which 5 ha drain, and no land of 250 m round any place.
SMALL = {
    "drainage_lines": {"line_m2": 100.0, "sure_height_m": 0.0, "sure_m": 0.0},
    "low_ground": {"reach_m": 10.0, "scale_m": 1.0},
}
# Everything a criterion may need.
GIVEN = {
    "soils": features(
        [shapely.box(WEST, NORTH - 48, WEST + 64, NORTH)], drainage_class=["well drained"], hydrologic_group=["B/D"]
    ),
    "lamps": features([LAMP], lumens=[4000.0], height_m=[5.0]),
    "wind": WindRose.prevailing(280.0),
}


def ids(items):
    return [item.id for item in items]


@pytest.fixture(scope="module")
def frame():
    farm = site(hills(48, 64, 9), obstacles=features([TREE], height_m=[6.0], kind=["deciduous"]), **GIVEN)
    made = prepared(farm, SETTINGS, 90.0, judges_of(farm, SETTINGS, "in-ground"), lambda what, share: None)
    ground = {"ground": Layer(made.ground, "m", "ground", (made.grid.cell_m,) * 2)}
    for name, parameters in SMALL.items():
        made.layers |= {key: layer.values for key, layer in catalogue.process(name)(ground, parameters).items()}
    return made


def test_ids_are_unique():
    assert len(set(ids(CRITERIA))) == len(CRITERIA) and len(set(ids(PROCESSES))) == len(PROCESSES)


@pytest.mark.parametrize("item", EVERY, ids=ids(EVERY))
def test_description_is_complete_and_its_defaults_pass(item):
    about = item.description
    assert re.fullmatch(r"[a-z][a-z0-9]*(_[a-z0-9]+)*", about.id)
    assert about.title and about.text.endswith(".")
    assert all(r.source for r in item.rubrics.values()) if item in CRITERIA else about.source
    assert about.unit if item in CRITERIA else about.makes
    assert about.checked({}) == {p.id: p.default for p in about.parameters}
    schema = about.json_schema()
    assert set(schema["properties"]) == {p.id for p in about.parameters}
    assert all(value["type"] in ("number", "integer", "boolean", "string") for value in schema["properties"].values())


@pytest.mark.parametrize("criterion", CRITERIA, ids=ids(CRITERIA))
def test_measure_is_pure_and_of_the_strips_shape(criterion, frame):
    house, before = House(6, 12), {name: layer.copy() for name, layer in frame.layers.items()}
    found = []
    for _ in range(2):
        mask = np.ones((16, frame.grid.cols), bool)
        strip = Strip(frame, house, Pad.around(house, 1.2), (16, 32), mask, 1 / 192)
        found.append(np.asarray(criterion.measure(strip, **criterion.description.checked({}))))
        assert mask.all()
    assert found[0].shape == (16, frame.grid.cols) and not np.isinf(found[0]).any()
    assert np.array_equal(found[0], found[1], equal_nan=True)
    assert all(np.array_equal(before[name], frame.layers[name], equal_nan=True) for name in before)
    assert {spec.id for spec in criterion.description.reads} <= frame.layers.keys()


def measured(criterion, frame):
    house = House(6, 12)
    strip = Strip(frame, house, Pad.around(house, 1.2), (16, 32), np.ones((16, frame.grid.cols), bool), 1 / 192)
    return np.asarray(criterion.measure(strip, **criterion.description.checked({})), np.float32)


@pytest.mark.parametrize("criterion", CRITERIA, ids=ids(CRITERIA))
def test_layers_that_a_criterion_does_not_read_change_nothing(criterion, frame):
    """What it says it reads is all it reads: every other layer may hold anything, or be missing."""
    read = {spec.id for spec in criterion.description.reads}
    rng = np.random.default_rng(1)
    other = {name: rng.normal(size=frame.grid.shape).astype(np.float32) for name in [*frame.layers, "unrelated"]}
    whole = measured(criterion, frame)
    assert np.isfinite(whole).any()
    for spare in (other, {}):
        mixed = replace(frame, layers=spare | {name: frame.layers[name] for name in read})
        assert np.array_equal(measured(criterion, mixed), whole, equal_nan=True)


@pytest.mark.parametrize("criterion", CRITERIA, ids=ids(CRITERIA))
def test_unknown_stays_unknown_and_is_neither_judged_nor_rejected(criterion, frame):
    """NaN in what is read is NaN in the measure under every placement that meets it, never 0; and it costs no marks."""
    read = [spec.id for spec in criterion.description.reads]
    if not read:
        pytest.skip("reads no layer")
    gone = replace(frame, layers={name: np.full(frame.grid.shape, np.nan, np.float32) for name in read})
    assert np.isnan(measured(criterion, gone)).all()
    part = {name: frame.layers[name].astype(np.float32) for name in read}
    for name in read:
        part[name][:, 30] = np.nan
    found = measured(criterion, replace(frame, layers=part))
    assert np.isnan(found[:, 25:36]).all() and np.isfinite(found[:, 45:55]).any()
    for kind in ("in-ground", "container"):
        rubric = criterion.rubric(kind)
        assert np.isnan(rubric.marks(np.array([np.nan]))).all() and not rubric.beyond(np.array([np.nan])).any()


@pytest.mark.parametrize("kind", ["in-ground", "container"])
@pytest.mark.parametrize("criterion", CRITERIA, ids=ids(CRITERIA))
def test_rubrics_rise_or_fall_all_the_way(criterion, kind):
    rubric = criterion.rubric(kind)
    low, high = sorted((rubric.full_at, rubric.none_at))
    at = np.linspace(low - (high - low), high + (high - low), 201)
    marks = rubric.marks(at) if rubric.rises else rubric.marks(at)[::-1]
    assert (np.diff(marks) >= 0).all() and marks[0] == 0 and marks[-1] == 1
    assert rubric.marks(np.array([rubric.full_at, rubric.none_at])) == pytest.approx([1, 0])
    assert rubric.source and not rubric.beyond(np.array([rubric.full_at])).any()  # the best is never rejected


@pytest.mark.parametrize("process", PROCESSES, ids=ids(PROCESSES))
def test_process_makes_what_it_says_and_is_pure(process, frame):
    cell = (frame.grid.cell_m, frame.grid.cell_m)
    sun = season_sun(clear_sky_steps(Observer(43.0, -81.0), 60), ((10, 1), (4, 30)))
    layers = {**frame.layers, "sun": sun}
    inputs = {
        s.id: Layer(layers[s.id].copy(), s.unit, s.title, cell) for s in process.description.reads if s.id in layers
    }
    told = {p.id: 43.0 for p in process.description.parameters if p.id == "latitude_deg"}  # it has no default
    one, two = process(inputs, told), process(inputs, told)
    assert {name: layer.unit for name, layer in one.items()} == {s.id: s.unit for s in process.description.makes}
    for name, layer in one.items():
        assert layer.values.shape == frame.grid.shape and not np.isinf(layer.values.astype(float)).any()
        assert np.array_equal(layer.values, two[name].values, equal_nan=True)
    assert all(np.array_equal(inputs[name].values, layers[name], equal_nan=True) for name in inputs)


@pytest.mark.parametrize("process", PROCESSES, ids=ids(PROCESSES))
def test_process_description_has_the_members_of_ogc_18_062r2(process):
    about = process.description.process_description("1.0.0")
    assert {"id", "version", "jobControlOptions", "inputs", "outputs"} <= about.keys()
    assert set(about["jobControlOptions"]) <= {"sync-execute", "async-execute", "dismiss"}
    for value in [*about["inputs"].values(), *about["outputs"].values()]:
        assert value["title"] and value["schema"]["type"]
    assert not any(
        isinstance(v, float) and math.isinf(v) for i in about["inputs"].values() for v in i["schema"].values()
    )


def test_the_example_is_found_through_entry_points_and_a_broken_one_is_skipped(monkeypatch):
    import tomllib

    offered = tomllib.loads((EXAMPLE / "pyproject.toml").read_text())["project"]["entry-points"]
    broken = {"absent": "no_such_package_here:X", "wrong": "math:pi", "taken": "tunnelsite.criteria.ground:PITCH"}

    def fake(group):
        return [EntryPoint(k, v, group) for k, v in {**offered[group], **broken}.items()]

    monkeypatch.setattr(catalogue, "entry_points", fake)
    said: list[str] = []
    assert ids(catalogue.criteria(said.append))[-2:] == ["example_lime_wanted", "example_relief"] and len(said) == 3
    assert all(any(name in text for text in said) for name in broken)
    assert ids(catalogue.processes())[-2:] == ["example_height_band", "example_lime"]
