"""What a criterion or process of another package declares that it needs to be told, it is told, like those built in."""

from __future__ import annotations

import importlib
import sys
from dataclasses import replace

import numpy as np
import pytest

from tests.contract.test_plug_ins_installed import HOUSE, SETTINGS, offer
from tests.scan.grounds import hills, raster, site
from tunnelsite import screen
from tunnelsite.core import catalogue
from tunnelsite.core.errors import UsageError
from tunnelsite.core.needs import CONDITIONS, FACTS, LAYERS, supplied
from tunnelsite.core.wind_rose import WindRose
from tunnelsite.screening import providers

FACTS_TOLD = [
    "bearing_deg",
    "latitude_deg",
    "longitude_deg",
    "datum_m",
    "height_step_m",
    "elevation_error_m",
    "error_range_m",
]
TURNED = SETTINGS.model_copy(update={"bearing_deg": 60.0, "bearing_tolerance_deg": 20.0, "bearing_step_deg": 20.0})


@pytest.fixture
def offered(monkeypatch, tmp_path):
    """Offers one module with an entry point for one test."""
    modules = []

    def put(module: str, kind: str, code: str) -> None:
        folder = tmp_path / module
        folder.mkdir()
        monkeypatch.syspath_prepend(str(offer(folder, module, kind, code)))
        importlib.invalidate_caches()
        modules.append(module)

    yield put
    for module in modules:
        sys.modules.pop(module, None)


def makes_constant(names: list[str]) -> str:
    """A process that writes down what it was told, a row of its layer a parameter."""
    declared = ", ".join(f"Parameter({name!r}, 'p', 45.0, {FACTS[name].unit!r})" for name in names)
    return (
        "def r(inputs, parameters, progress):\n"
        "    out = np.zeros(inputs['ground'].values.shape, np.float32)\n"
        f"    for row, name in enumerate({names!r}): out[row] = parameters[name]\n"
        "    return {'heard': Layer(out, '1', 'h', inputs['ground'].cell_m)}\n"
        f"ITEM = Process(about('heard_it', unit='', reads=(LayerSpec('ground', 'm', 'g'),), makes=(LayerSpec('heard', '1', 'h'),), parameters=({declared},)), r)"
    )


def test_a_process_of_a_plug_in_is_told_the_bearing_and_the_place(offered) -> None:
    offered("broken_told", "processes", makes_constant(FACTS_TOLD))
    wants = "ITEM = Criterion(about('hears', reads=(LayerSpec('heard', '1', 'h'),)), lambda s: s.pad_max('heard'), ANY)"
    offered("broken_hears", "criteria", wants)
    result = screen(site(hills(48, 64, 9)), HOUSE, settings=TURNED)
    for scan in result.scans:
        frame = scan.frame
        heard = dict(zip(FACTS_TOLD, frame.layers["heard"][:, 0].tolist(), strict=False))
        assert heard["bearing_deg"] == frame.grid.bearing_deg
        assert heard["latitude_deg"] == pytest.approx(frame.lat_deg, abs=1e-5)
        assert heard["longitude_deg"] == pytest.approx(frame.lon_deg, abs=1e-5)
        assert heard["datum_m"] == frame.datum_m and heard["height_step_m"] == frame.step_m
        assert heard["elevation_error_m"] == pytest.approx(frame.error.sd_m)
        assert heard["error_range_m"] == pytest.approx(frame.error.range_m)
    assert {scan.frame.grid.bearing_deg for scan in result.scans} == {60.0, 40.0, 80.0}


def test_a_criterion_of_a_plug_in_is_told_the_same_on_each_bearing(offered) -> None:
    code = (
        "def m(site, bearing_deg, latitude_deg, crop_months, shrink):\n"
        "    assert crop_months == '10-01:04-30' and shrink == 1.25\n"
        "    return np.full(site.feasible().shape, bearing_deg + latitude_deg)\n"
        "from tunnelsite.core.needs import supplied\n"
        "names = ('bearing_deg', 'latitude_deg', 'crop_months', 'shrink')\n"
        "ITEM = Criterion(about('turned', parameters=tuple(map(supplied, names))), m, ANY)"
    )
    offered("broken_turned", "criteria", code)
    settings = TURNED.model_copy(update={"crop_months": "10-01:04-30", "shrink": 1.25})
    result = screen(site(hills(48, 64, 9)), HOUSE, settings=settings)
    for scan in result.scans:
        expected = scan.frame.grid.bearing_deg + scan.frame.lat_deg
        assert scan.measures["turned"] == pytest.approx(expected, abs=1e-4)
    given = settings.model_copy(update={"parameter": {"turned": {"bearing_deg": 5.0}}})
    for scan in screen(site(hills(48, 64, 9)), HOUSE, settings=given).scans:
        assert scan.measures["turned"] == pytest.approx(5.0 + scan.frame.lat_deg, abs=1e-4)


def test_layers_of_a_run_are_given_to_whoever_reads_them(offered) -> None:
    """The sun's table and the far ground, with where its first corner lies."""
    code = (
        "from tunnelsite.core.needs import LAYERS\n"
        "def r(inputs, parameters, progress):\n"
        "    far, out = inputs['far_ground'], np.zeros(inputs['ground'].values.shape, np.float32)\n"
        "    out[0], out[1], out[2:4] = len(inputs['sun'].values), far.cell_m[0], np.reshape(far.corner_m, (2, 1))\n"
        "    return {'heard': Layer(out, '1', 'h', inputs['ground'].cell_m)}\n"
        "reads = (LayerSpec('ground', 'm', 'g'), LAYERS['sun'], LAYERS['far_ground'])\n"
        "ITEM = Process(about('heard_it', unit='', reads=reads, makes=(LayerSpec('heard', '1', 'h'),)), r)"
    )
    offered("broken_far", "processes", code)
    wants = "ITEM = Criterion(about('hears', reads=(LayerSpec('heard', '1', 'h'),)), lambda s: s.pad_max('heard'), ANY)"
    offered("broken_hears", "criteria", wants)
    wide = raster(hills(80, 80, 3), 499_500.0, 4_700_500.0, cell=10.0)
    farm = site(hills(48, 64, 9), far_dem=wide)
    heard = screen(farm, HOUSE, settings=SETTINGS).frame.layers["heard"][:, 0]
    assert heard[0] > 1000 and heard[1] == 30.0 and heard[2] > 100 and heard[3] > 100


def test_what_is_not_known_of_a_site_is_not_made_up(offered) -> None:
    """Without a wind nothing is told a wind: the layer is not made, and the criterion that wants it is left out, with words."""
    wants = "ITEM = Criterion(about('lee', reads=(LayerSpec('wind_shelter', '1', 'w'),)), lambda s: s.pad_max('wind_shelter'), ANY)"
    offered("broken_lee", "criteria", wants)
    result = screen(site(hills(48, 64, 9)), HOUSE, settings=SETTINGS)
    notes = " ".join(row["value"] for row in result.tables["run"].rows if row["kind"] == "note")
    assert "lee" not in result.scans[0].measures and "nothing in this run tells its winds" in notes
    blown = screen(site(hills(48, 64, 9), wind=WindRose.prevailing(280.0)), HOUSE, settings=SETTINGS)
    assert "lee" not in blown.scans[0].measures or np.isfinite(blown.scans[0].measures["lee"]).all()


@pytest.mark.parametrize(
    ("kind", "code", "words"),
    [
        ("processes", "Parameter('bearing_deg', 'b', 'north')", "bearing_deg"),
        ("criteria", "Parameter('latitude_deg', 'l', 45.0, 'rad')", "latitude_deg"),
        ("criteria", "Parameter('engine', 'e', 'fast', choices=('fast', 'slow'))", "engine"),
        ("processes", "supplied('tides')", "tides"),
    ],
)
def test_a_declaration_that_cannot_be_kept_is_a_broken_plug_in(kind, code, words, offered) -> None:
    head = "from tunnelsite.core.needs import supplied\n"
    if kind == "criteria":
        body = f"ITEM = Criterion(about('some_id', parameters=({code},)), lambda s, **p: s, ANY)"
    else:
        body = f"ITEM = Process(about('some_id', unit='', makes=(LayerSpec('a', '1', 'a'),), parameters=({code},)), lambda i, p, q: {{}})"
    offered("broken_declared", kind, head + body)
    said: list[str] = []
    assert "some_id" not in [item.id for item in getattr(catalogue, kind)(said.append)]
    assert len(said) == 1 and "broken_declared" in said[0] and words in said[0], said


def test_every_name_that_may_be_declared_has_a_provider() -> None:
    assert providers.FACTS.keys() == FACTS.keys() and providers.LAYERS.keys() == LAYERS.keys()
    assert providers.CONDITIONS.keys() == CONDITIONS.keys()
    assert all(supplied(name).id == name for name in FACTS)


def test_built_in_tools_declare_like_plug_ins() -> None:
    """None of them has a copy of a declaration that says something else."""
    for item in [*catalogue.criteria(), *catalogue.processes()]:
        for parameter in item.description.parameters:
            if parameter.id in FACTS:
                assert parameter == supplied(parameter.id, parameter.default), (item.id, parameter.id)
        for spec in item.description.reads:
            if spec.id in LAYERS:
                same = replace(spec, unless=())  # a tool may do without it where it has something else
                assert same == LAYERS[spec.id], (item.id, spec.id)


def test_a_former_name_is_refused_with_the_new_one() -> None:
    with pytest.raises(UsageError, match="bearing_deg = north_deg \\+ 90"):
        catalogue.process("aspect").description.checked({"north_deg": 2.0})


def test_aspect_and_hillshade_know_how_a_screening_is_turned(offered) -> None:
    """Read by a plug-in's criterion, they are the same true directions on every ridge bearing."""
    wants = "ITEM = Criterion(about('faces', unit='deg', reads=(LayerSpec('aspect', 'deg', 'a'),)), lambda s: s.layer('aspect'), ANY)"
    offered("broken_faces", "criteria", wants)
    ground = 100 + 0.02 * np.mgrid[0:48, 0:64][0]  # falls to the north
    for scan in screen(site(ground), HOUSE, settings=TURNED).scans:
        off = (scan.measures["faces"] + 180.0) % 360.0 - 180.0
        assert np.nanmax(np.abs(off)) < 0.5, scan.frame.grid.bearing_deg
