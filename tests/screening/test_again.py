"""A finished screening alone leads back to its settings and inputs; a file that is missing or another one is named."""

from __future__ import annotations

import json
import shutil
from pathlib import Path

import geopandas
import pytest

from tests.whole_run.files import plain_farm
from tunnelsite import read_site, screen
from tunnelsite.core.errors import InputRefused
from tunnelsite.hosts.cli.main import main
from tunnelsite.io.read.site import site_from
from tunnelsite.screening.again import origin_of
from tunnelsite.settings.model import settings_from


@pytest.fixture(scope="module")
def once(tmp_path_factory) -> tuple[Path, dict]:
    """A folder with inputs and the screening of them; its settings."""
    folder = tmp_path_factory.mktemp("again")
    dem, parcels = plain_farm(folder)
    given = {"dem": str(dem), "parcels": str(parcels), "house": ["6x15m"], "azimuths": 8, "setback": "3m", "top": 3}
    given["halo"] = 0.0
    settings = settings_from(given)
    screen(site_from(settings), settings=settings).write(folder / "results.gpkg")
    return folder, given


@pytest.fixture
def farm(once, tmp_path, monkeypatch) -> Path:
    """The same, moved as a whole, with the command run elsewhere."""
    shutil.copytree(once[0], tmp_path / "farm")
    (tmp_path / "elsewhere").mkdir()
    monkeypatch.chdir(tmp_path / "elsewhere")
    return tmp_path / "farm"


def test_the_settings_are_those_of_the_screening(once) -> None:
    folder, given = once
    found = settings_from(origin_of(folder / "results.gpkg").settings)
    assert found == settings_from(given) and found.halo_m == 0.0


@pytest.mark.parametrize(
    "words",
    [
        ["sunchart", "--sites", "{0}", "--rank", "1"],
        ["grading", "{0}", "--rank", "1", "--draws", "20"],
        ["stakeout", "--sites", "{0}", "--rank", "1"],
        ["cost", "{0}", "--ranks", "1,2", "--draws", "20"],
        ["explain", "{0}", "--rank", "1", "--json"],
        ["layout", "{0}", "--json"],
        ["report", "{0}", "--cards", "0"],
    ],
)
def test_a_command_goes_on_from_the_file_alone(farm, words, capsys) -> None:
    assert main([word.format(farm / "results.gpkg") for word in [*words, "--quiet"]]) == 0, capsys.readouterr().err


def test_inputs_that_moved_beside_the_file_are_found(farm, tmp_path) -> None:
    (tmp_path / "other").mkdir()
    moved = tmp_path / "other" / "deeper"
    moved.mkdir()
    shutil.move(farm / "results.gpkg", moved / "results.gpkg")
    dem = next(path.name for path in farm.iterdir() if path.suffix == ".tif")
    with pytest.raises(InputRefused, match=dem):
        origin_of(moved / "results.gpkg")
    for path in farm.iterdir():
        shutil.move(path, moved / path.name)
    assert Path(origin_of(moved / "results.gpkg").settings["dem"]).samefile(moved / dem)


def test_an_input_that_changed_is_named(farm, capsys) -> None:
    found = origin_of(farm / "results.gpkg")
    parcels = Path(found.settings["parcels"])
    found.check(site_from(settings_from(found.settings)))  # as it is, it is let through
    land = geopandas.read_file(parcels)
    land.geometry = land.buffer(-1)
    parcels.unlink()
    land.to_file(parcels)
    assert main(["sunchart", "--sites", str(farm / "results.gpkg"), "--rank", "1", "-q"]) == 3
    said = capsys.readouterr().err
    assert parcels.name in said and "changed" in said and said.count("\n") == 1


def test_a_screening_of_objects_says_what_to_do(once, tmp_path) -> None:
    _, given = once
    site = read_site(given["dem"], geopandas.read_file(given["parcels"]))
    result = screen(site, settings=settings_from({"house": ["6x15m"], "azimuths": 8, "top": 1}))
    with pytest.raises(InputRefused, match="--project"):
        origin_of(result.write(tmp_path / "s.gpkg"))


@pytest.mark.parametrize(
    ("words", "told"),
    [
        (["explain", "{0}", "--rank", "99"], "rank is 99. Expected: one of the 3 ranks in results.gpkg"),
        (["explain", "{0}", "--at", "10", "43"], "is outside the data"),
        (["explain", "{0}", "--at", "430", "43"], "longitude -180 to 180"),
        (["report", "{0}", "--ranks", "1,99"], "rank is 99. Expected: one of the 3 ranks in results.gpkg"),
        (
            ["report", "{0}", "--price", "dirt=9/m"],
            "earthwork (by volume), topsoil (by volume), base (by volume), clearing (by area)",
        ),
        (["report", "{0}", "--price", "dirt=9/yd3"], "names that are no service are earthwork"),
    ],
)
def test_what_cannot_be_is_refused_before_anything_is_screened(farm, words, told, capsys, monkeypatch) -> None:
    monkeypatch.setattr("tunnelsite.screening.run.screen", lambda *one, **more: pytest.fail("screened"))
    assert main([word.format(farm / "results.gpkg") for word in [*words, "--quiet"]]) == 2
    assert told in capsys.readouterr().err


def test_messages_name_no_option_that_was_not_given(farm, capsys) -> None:
    assert main(["grading", "nothing.gpkg", "--rank", "1"]) == 3
    said = capsys.readouterr().err
    assert "no file 'nothing.gpkg'" in said and "--sites" not in said


@pytest.fixture(scope="module")
def block_and_region(once, tmp_path_factory) -> Path:
    """The farm's folder with the GeoPackages of a block of houses and of a region."""
    folder = tmp_path_factory.mktemp("more") / "farm"
    shutil.copytree(once[0], folder)
    dem, parcels = (str(folder / Path(once[1][name]).name) for name in ("dem", "parcels"))
    assert main(["layout", str(folder / "results.gpkg"), "--out", str(folder / "layout.gpkg"), "-q", "--json"]) == 0
    asked = [
        "--house",
        "6x15m",
        "--azimuths",
        "8",
        "--setback",
        "3m",
        "--halo",
        "0",
        "--drainage",
        "halo",
        "--workers",
        "0",
    ]
    assert main(["region", dem, parcels, *asked, "--out", str(folder / "region.gpkg"), "-q", "--json"]) == 0
    return folder


@pytest.mark.parametrize("name", ["layout", "region"])
def test_a_plan_goes_on_from_a_block_or_a_region_alone(block_and_region, name, tmp_path, monkeypatch, capsys) -> None:
    monkeypatch.chdir(tmp_path)
    sites = block_and_region / f"{name}.gpkg"
    assert main(["stakeout", "--sites", str(sites), "--rank", "2", "-q"]) == 0, capsys.readouterr().err
    second = geopandas.read_file(sites, layer="layout" if name == "layout" else "candidates").set_index("rank").loc[2]
    capsys.readouterr()
    assert main(["stakeout", "--sites", str(sites), "--rank", "2", "-q", "--json", "--overwrite"]) == 0
    told = json.loads(capsys.readouterr().out)
    assert (told["lon"], told["lat"]) == pytest.approx((second.lon, second.lat), abs=1e-9)


@pytest.mark.parametrize("name", ["layout", "region"])
@pytest.mark.parametrize("words", [["explain", "--rank", "1"], ["report"], ["layout"]])
def test_what_would_rank_anew_is_refused_for_them(block_and_region, name, words, capsys) -> None:
    assert main([words[0], str(block_and_region / f"{name}.gpkg"), *words[1:], "-q"]) == 2
    assert "its ranks are not those of one screening" in capsys.readouterr().err
