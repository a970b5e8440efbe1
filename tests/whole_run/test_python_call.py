"""What a call from Python may hand over: wrong values are told in words before anything is computed."""

from __future__ import annotations

import math

import numpy as np
import pytest
import shapely

from tests.whole_run.files import NORTH, UTM17, WEST, gentle, plain_farm, write_parcels
from tunnelsite import House, Settings, read_site, screen
from tunnelsite.core.errors import InputRefused, TunnelsiteError, UsageError
from tunnelsite.io.read.raster_reading import RasterReading


@pytest.fixture(scope="module")
def farm(tmp_path_factory):
    folder = tmp_path_factory.mktemp("farm")
    return [str(path) for path in plain_farm(folder, gentle(60, 70))]


@pytest.mark.parametrize(
    ("call", "words"),
    [
        (lambda site: screen(None), "site is None. Expected: a Site"),
        (lambda site: screen("dem.tif"), "site is 'dem.tif'"),
        (lambda site: screen(site, "30x96ft"), "houses is '30x96ft'.*House.parse"),
        (lambda site: screen(site, ["30x96ft"]), "houses is"),
        (lambda site: screen(site, []), "at least one House"),
        (lambda site: screen(site, 30), "houses is 30"),
        (lambda site: screen(site, settings={}), "settings is {}. Expected: Settings"),
        (lambda site: screen(site, crop_months="x"), "crop months"),
    ],
)
def test_wrong_arguments_of_screen(farm, call, words) -> None:
    site = read_site(*farm)
    with pytest.raises(UsageError, match=words):
        call(site)


@pytest.mark.parametrize("value", [400.0, -1.0, math.nan, math.inf])
def test_wrong_direction_of_the_wind(farm, value) -> None:
    with pytest.raises(UsageError, match="wind from"):
        read_site(*farm, wind_from_deg=value)


@pytest.mark.parametrize("value", [-1.0, math.nan, 1e9])
def test_wrong_halo(value) -> None:
    with pytest.raises(UsageError, match="halo_m"):
        RasterReading(halo_m=value)


def test_one_keep_out_may_be_a_word(farm, tmp_path) -> None:
    pond = write_parcels(tmp_path / "p.gpkg", [shapely.Point(WEST + 9, NORTH - 9)], UTM17)
    for given in (f"{pond}@5m", [f"{pond}@5m"]):
        site = read_site(*farm, keep_out=given)
        assert [(item.name, item.distance_m) for item in site.keep_outs] == [("p.gpkg", 5.0)]


@pytest.mark.parametrize("value", [1e300, -1e300, 1e12])
def test_a_coordinate_beyond_the_earth(farm, tmp_path, value) -> None:
    lot = shapely.Polygon([(WEST, NORTH), (value, NORTH), (WEST + 50, NORTH - 50)])
    with pytest.raises(InputRefused, match=r"coordinate .*1e\+.*places on earth"):
        read_site(farm[0], str(write_parcels(tmp_path / "far.gpkg", [lot], UTM17)))


def test_a_limit_that_rejects_what_earns_full_marks(farm) -> None:
    """Full marks at 5, none at 8, rejected beyond 2: nothing that is kept could earn less than full marks."""
    settings = Settings(rubric={"pitch": {"full_at": 5.0, "none_at": 8.0, "limit": 2.0}})
    with pytest.raises(UsageError, match="the limit is 2, and full marks are given at 5 already"):
        screen(read_site(*farm), House(6.0, 12.0), settings=settings)


def test_no_wrong_value_ends_in_another_error(farm) -> None:
    site = read_site(*farm)
    for wrong in (np.nan, "x", b"x", {}, [None], object(), 1.5, True):
        with pytest.raises(TunnelsiteError):
            screen(site, wrong)
        with pytest.raises(TunnelsiteError):
            screen(site, settings=wrong)
