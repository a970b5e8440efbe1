"""Plug-ins as other packages really bring them: the example installed by pip, and packages broken in every way."""

from __future__ import annotations

import importlib
import os
import shutil
import subprocess
import sys
from pathlib import Path

import numpy as np
import pytest

from tests.scan.grounds import hills, site
from tunnelsite import Settings, screen
from tunnelsite.core import catalogue
from tunnelsite.core.house import House
from tunnelsite.core.layers import Layer
from tunnelsite.core.placement import Placement
from tunnelsite.core.plug_ins import PlugInFailed
from tunnelsite.hosts.cli.main import main

EXAMPLE = Path(__file__).parents[2] / "docs" / "examples" / "plugin"
HOUSE = House(6, 12)
LON, LAT = -81.00082697, 42.45301541  # in the middle of the ground
SETTINGS = Settings(halo_m=10, azimuths=8, top=3)


@pytest.fixture(scope="module")
def ground():
    return hills(48, 64, 9)


@pytest.fixture(scope="module")
def plain(ground):
    return screen(site(ground), HOUSE, settings=SETTINGS)


@pytest.fixture(scope="module")
def installed(tmp_path_factory) -> Path:
    """The example, installed by pip without a network into a folder of its own."""
    pytest.importorskip("hatchling", reason="builds the example; it is in the test extra")
    folder = tmp_path_factory.mktemp("plug-in")
    source = shutil.copytree(EXAMPLE, folder / "source")  # a build leaves nothing in the checkout
    options = ["--no-deps", "--no-build-isolation", "--no-index", "--disable-pip-version-check", "--quiet"]
    done = subprocess.run(
        [sys.executable, "-m", "pip", "install", *options, "--target", str(folder / "site"), str(source)],
        capture_output=True,
        text=True,
        env={**os.environ, "PYTHONPATH": os.pathsep.join(filter(None, sys.path))},
    )
    assert done.returncode == 0, done.stdout + done.stderr
    return folder / "site"


@pytest.fixture
def beside(monkeypatch):
    """Puts a folder on the path for one test and forgets its modules afterwards."""
    before = set(sys.modules)

    def put(folder: Path) -> None:
        monkeypatch.syspath_prepend(str(folder))
        importlib.invalidate_caches()
        for name in [name for name in sys.modules if name.startswith("tunnelsite_example_plugin")]:
            monkeypatch.delitem(sys.modules, name)

    yield put
    for name in set(sys.modules) - before:
        if name.startswith(("broken_", "tunnelsite_example_plugin")):
            del sys.modules[name]


def test_the_installed_example_is_listed_and_measures(installed, beside, plain, ground, capsys) -> None:
    beside(installed)
    assert main(["processes"]) == 0
    said = capsys.readouterr()
    assert "example_height_band: " in said.out and "example_relief [m]: " in said.out and not said.err
    assert "example_corners: " in said.out and "beyond = 0 m [m]: Beyond." in said.out
    plan = catalogue.plan("example_corners")(site(ground), Placement(LON, LAT, 90.0, HOUSE))
    assert len(plan.layers["corners"]) == 4 and plan.summary["relief_m"] > 0
    result = screen(site(ground), HOUSE, settings=SETTINGS)
    relief = result.scans[0].measures["example_relief"]
    assert np.isfinite(relief).all() and (relief > 0).all() and "score_example_relief" in result.rows[0]
    for name, values in plain.scans[0].measures.items():
        assert np.array_equal(values, result.scans[0].measures[name], equal_nan=True), name
    layer = Layer(np.array([[0.5, 1.5]], np.float32), "m", "ground")
    bands = catalogue.process("example_height_band")({"ground": layer}, {"step_m": 0.5})
    assert bands["height_band"].values.tolist() == [[1, 3]]
    tuned = SETTINGS.model_copy(update={"parameter": {"example_relief": {"share": 0.5}}})
    half = screen(site(ground), HOUSE, settings=tuned).scans[0].measures["example_relief"]
    assert half == pytest.approx(relief / 2)


HEAD = """
import numpy as np
from tunnelsite.core.criterion import Criterion
from tunnelsite.core.describe import Description, LayerSpec, Parameter
from tunnelsite.core.layers import Layer
from tunnelsite.core.process import Process
from tunnelsite.core.rubric import Rubric
from dataclasses import dataclass
from tunnelsite.core.plan_kind import Content, PlanKind

@dataclass(frozen=True)
class Asked: pass

def make(site, place, settings, progress): pass

ANY = {"any": Rubric(1.0, 0.0, weight=5.0)}

def about(name, **more):
    return Description(name, "Broken", "It is broken.", source="invented", **({"unit": "1"} | more))

def fine(site):
    return np.ones(site.feasible().shape)
"""
# name of the module: (kind of entry point, code after HEAD, words that the message has to hold)
REFUSED_AT_ONCE = {
    "broken_import": ("criteria", "import no_such_module_here", "no_such_module_here"),
    "broken_syntax": ("criteria", "def (", "invalid syntax"),
    "broken_exit": ("criteria", "raise SystemExit('bye')", "bye"),
    "broken_kind": ("criteria", "ITEM = 3", "not a Criterion"),
    "broken_id": ("criteria", "ITEM = Criterion(about('Not An Id'), fine, ANY)", "lower-case words"),
    "broken_text": ("criteria", "ITEM = Criterion(Description('some_id', '', '', unit='1'), fine, ANY)", "title is empty"),
    "broken_description": ("criteria", "ITEM = Criterion('words', fine, ANY)", "its description is 'words' (of the type str): make it with tunnelsite.core.describe.Description"),
    "broken_rubric": ("criteria", "ITEM = Criterion(about('some_id'), fine, {})", "add one under the key 'any'"),
    "broken_curve": ("criteria", "ITEM = Criterion(about('some_id'), fine, {'any': (1.0, 0.0)})", "'any' is (1.0, 0.0) (of the type tuple)"),
    "broken_need": ("criteria", "ITEM = Criterion(about('some_id'), fine, ANY, needs=('tides',))", "tides"),
    "broken_default": (
        "criteria",
        "ITEM = Criterion(about('some_id', parameters=(Parameter('share', 's', 2.0, most=1.0),)), lambda s, share: s, ANY)",
        "the default of its parameter share is refused",
    ),
    "broken_call": (
        "criteria",
        "ITEM = Criterion(about('some_id', parameters=(Parameter('share', 's', 1.0),)), fine, ANY)",
        "it is called as measure(site, share)",
    ),
    "broken_makes": ("processes", "ITEM = Process(about('some_id'), lambda i, p, q: {})", "makes nothing"),
    "broken_plan": ("plans", "ITEM = PlanKind('x', 'X', 'X.', 'invented', Asked, lambda site: 0, ())", "does not take site"),
    "broken_plan_id": ("plans", "ITEM = PlanKind('sun_chart', 'X', 'X.', 'invented', Asked, make, ())", "is taken"),
    "broken_plan_settings": ("plans", "ITEM = PlanKind('x', 'X', 'X.', 'invented', dict, make, ())", "no dataclass"),
    "broken_plan_gives": ("plans", "ITEM = PlanKind('x', 'X', 'X.', 'invented', Asked, make, ('a',))", "not Contents"),
    "broken_run": ("processes", "ITEM = Process(about('some_id', makes=(LayerSpec('a', '1', 'a'),)), None)", "cannot be called"),
}  # fmt: skip
FAILS_IN_THE_RUN = {
    "broken_measure": ("def m(site): raise ZeroDivisionError('oh')", "ZeroDivisionError: oh"),
    "broken_shape": ("def m(site): return np.ones(3)", "shape (3,)"),
    "broken_words": ("def m(site): return np.full(site.feasible().shape, 'a')", "not numbers"),
    "broken_infinite": ("def m(site): return np.full(site.feasible().shape, np.inf)", "infinite"),
    "broken_mask": ("def m(site): site.feasible()[:] = False; return np.ones(site.feasible().shape)", "in the running"),
    "broken_layer": ("def m(site): return site.layer('no_such_layer')", "no_such_layer"),
    "broken_late": (
        "def m(site): return fine(site) if site.frame.grid.bearing_deg == 90.0 else None", "not numbers",
    ),
}  # fmt: skip


def offer(folder: Path, module: str, kind: str, code: str) -> Path:
    """A package as pip would leave it: a module and the entry points of its distribution."""
    (folder / f"{module}.py").write_text(HEAD + code + "\n")
    about = folder / f"{module}-1.0.dist-info"
    about.mkdir()
    (about / "METADATA").write_text(f"Metadata-Version: 2.1\nName: {module}\nVersion: 1.0\n")
    (about / "entry_points.txt").write_text(f"[tunnelsite.{kind}]\n{module} = {module}:ITEM\n")
    return folder


@pytest.mark.parametrize("module", REFUSED_AT_ONCE)
def test_what_is_broken_from_the_start_is_reported_and_skipped(module, tmp_path, beside) -> None:
    kind, code, words = REFUSED_AT_ONCE[module]
    before = [item.id for item in getattr(catalogue, kind)()]
    beside(offer(tmp_path, module, kind, code))
    said: list[str] = []
    assert [item.id for item in getattr(catalogue, kind)(said.append)] == before
    assert len(said) == 1 and module in said[0] and words in said[0], said


@pytest.mark.parametrize("module", FAILS_IN_THE_RUN)
def test_what_breaks_in_a_run_leaves_it_as_if_it_had_never_been(module, tmp_path, beside, plain, ground) -> None:
    code, words = FAILS_IN_THE_RUN[module]
    beside(offer(tmp_path, module, "criteria", f"{code}\nITEM = Criterion(about('{module}'), m, ANY)"))
    settings, expected = SETTINGS, plain
    if module == "broken_late":  # it fails on the second bearing only, and what it measured on the first is not used
        settings = SETTINGS.model_copy(update={"bearing_tolerance_deg": 20.0, "bearing_step_deg": 20.0})
        expected = None
    result = screen(site(ground), HOUSE, settings=settings)
    assert module not in {judge.id for judge in result.judges}
    notes = [row["value"] for row in result.tables["run"].rows if row["kind"] == "note"]
    assert sum(module in note and words in note for note in notes) >= 1, notes
    assert all(module not in scan.measures for scan in result.scans)
    if expected is not None:
        assert [(c.item, c.score) for c in result.choices] == [(c.item, c.score) for c in expected.choices]


def test_a_plan_that_fails_or_is_not_what_it_says_is_named(tmp_path, beside, ground) -> None:
    fails, other = tmp_path / "a", tmp_path / "b"
    fails.mkdir()
    other.mkdir()
    kind = "ITEM = PlanKind('{}', 'X', 'X.', 'invented', Asked, m, (Content('map', 'picture', 'x'),))"
    beside(offer(fails, "broken_in_plan", "plans", "def m(s, p, a, q): return 1 / 0\n" + kind.format("some_plan")))
    code = "from tunnelsite.plans.plan import Plan\ndef m(s, p, a, q): return Plan('other_plan', 'X', {'x': s})\n"
    beside(offer(other, "broken_other_plan", "plans", code + kind.format("other_plan")))
    place = Placement(-81.0, 42.45, 90.0, HOUSE)
    with pytest.raises(PlugInFailed, match="ZeroDivisionError"):
        catalogue.plan("some_plan")(site(ground), place)
    with pytest.raises(PlugInFailed, match="picture map is missing; its summary is not ready for JSON"):
        catalogue.plan("other_plan")(site(ground), place)


def test_a_broken_process_is_skipped_with_the_criterion_that_wants_its_layer(tmp_path, beside, plain, ground) -> None:
    spec = "LayerSpec('tide', '1', 'tide')"
    first, second = tmp_path / "a", tmp_path / "b"
    first.mkdir()
    second.mkdir()
    code = f"def r(inputs, parameters, progress): raise OSError('no sea')\nITEM = Process(about('broken_tide', makes=({spec},)), r)"
    beside(offer(first, "broken_tide", "processes", code))
    wants = f"ITEM = Criterion(about('broken_wants', reads=({spec},)), lambda site: site.pad_max('tide'), ANY)"
    beside(offer(second, "broken_wants", "criteria", wants))
    result = screen(site(ground), HOUSE, settings=SETTINGS)
    notes = " ".join(row["value"] for row in result.tables["run"].rows if row["kind"] == "note")
    assert "no sea" in notes and "reads tide, which nothing made" in notes
    assert [(c.item, c.score) for c in result.choices] == [(c.item, c.score) for c in plain.choices]
    with pytest.raises(PlugInFailed, match="no sea"):
        catalogue.process("broken_tide")({})


def test_layers_that_only_a_plug_in_asks_for_are_made(tmp_path, beside, ground) -> None:
    """A criterion that reads what a plug-in's process makes from what a built-in process makes, which nothing else asks for."""
    first, second = tmp_path / "a", tmp_path / "b"
    first.mkdir()
    second.mkdir()
    specs = "WET = LayerSpec('wetness', '1', 'w'); TWICE = LayerSpec('twice', '1', 't')\n"
    code = "def r(i, p, q): return {'twice': Layer(2 * i['wetness'].values, '1', 't', i['wetness'].cell_m)}\n"
    beside(
        offer(
            first,
            "broken_not_a",
            "processes",
            specs + code + "ITEM = Process(about('twice', reads=(WET,), makes=(TWICE,)), r)",
        )
    )
    wants = specs + "ITEM = Criterion(about('twice_wet', reads=(TWICE,)), lambda site: site.pad_max('twice'), ANY)"
    beside(offer(second, "broken_not_b", "criteria", wants))
    result = screen(site(ground), HOUSE, settings=SETTINGS)
    assert np.isfinite(result.scans[0].measures["twice_wet"]).any()
    layers = result.scans[0].frame.layers
    assert np.array_equal(layers["twice"], 2 * layers["wetness"], equal_nan=True)
