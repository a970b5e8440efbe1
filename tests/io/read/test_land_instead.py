"""A circle, or all of the elevation model, in place of parcels."""

from __future__ import annotations

from pathlib import Path

import numpy as np
import pyproj
import pytest
import shapely

from tests.whole_run.files import NORTH, UTM17, WEST, plain_farm
from tunnelsite.core.errors import UsageError
from tunnelsite.hosts.cli.main import main
from tunnelsite.io.read.land_instead import land_instead
from tunnelsite.io.read.site import site_from
from tunnelsite.settings.circle import circle
from tunnelsite.settings.model import settings_from


def _middle() -> tuple[float, float]:
    lon, lat = pyproj.Transformer.from_crs(UTM17, "EPSG:4326", always_xy=True).transform(WEST + 50, NORTH - 40)
    return lat, lon


def test_a_circle_is_round_on_the_earth(tmp_path: Path) -> None:
    dem, _ = plain_farm(tmp_path)
    lat, lon = _middle()
    land = land_instead(settings_from({"dem": str(dem), "around": f"{lat},{lon}:30m"}))
    back = pyproj.Transformer.from_crs(UTM17, "EPSG:4326", always_xy=True)
    east, north = back.transform(*shapely.get_coordinates(land.geometry[0]).T)
    far = pyproj.Geod(ellps="WGS84").inv(np.full(len(east), lon), np.full(len(east), lat), east, north)[2]
    assert far == pytest.approx(np.full(len(far), 30.0), abs=1e-4)
    assert "circle of 30 m" in land.notes[0]


def test_the_whole_model_is_its_outline(tmp_path: Path) -> None:
    dem, _ = plain_farm(tmp_path)
    site = site_from(settings_from({"dem": str(dem), "whole": True}))
    assert shapely.equals(site.parcels.geometry[0], shapely.box(WEST, NORTH - 80, WEST + 100, NORTH))


def test_the_command_takes_a_circle(tmp_path: Path, monkeypatch: pytest.MonkeyPatch) -> None:
    plain_farm(tmp_path)
    monkeypatch.chdir(tmp_path)
    lat, lon = _middle()
    assert main(["screen", "dem.tif", "--around", f"{lat},{lon}:35m", "--house", "6x12m", "--out", "s.gpkg", "-q"]) == 0
    assert (tmp_path / "s.gpkg").is_file()


def test_two_kinds_of_land_are_refused(tmp_path: Path) -> None:
    dem, parcels = plain_farm(tmp_path)
    with pytest.raises(UsageError, match="parcels and whole are both given"):
        site_from(settings_from({"dem": str(dem), "parcels": str(parcels), "whole": True}))


@pytest.mark.parametrize("text", ["43,-78", "43:30m", "91,0:30m", "143,-78:30m", "nan,0:30m", "43,-78:1m", "a,b:30m"])
def test_what_is_no_circle_is_refused(text: str) -> None:
    with pytest.raises(UsageError, match="around"):
        circle(text)
