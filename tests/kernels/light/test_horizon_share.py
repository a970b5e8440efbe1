"""Shares of beam and sky against single horizons and a shadow cast for every sun
position."""

import math

import numpy as np
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from tests.kernels.reference import profile_share, sky_tables
from tunnelsite.kernels.light import horizon_scan
from tunnelsite.kernels.light.horizon import cast_shadow, horizon_tangent
from tunnelsite.kernels.light.horizon_share import (
    NODES,
    UNITS,
    Scene,
    add_folded,
    folded_share,
    no_losses,
    sector_tables,
)

TWELVE = np.arange(0.0, 360.0, 30.0)


def winter_suns(latitude_deg=41.0, step_h=0.25):
    """Sun positions of a few winter days from spherical astronomy, energy as sin(elevation): (azimuth,
    elevation, energy)."""
    latitude = math.radians(latitude_deg)
    hour, declination = np.meshgrid(np.arange(-6.0, 6.0, step_h), np.radians([-23.44, -20.0, -13.0, -5.0]))
    hour, declination = np.radians(15.0 * hour.ravel()), declination.ravel()
    sine = np.sin(latitude) * np.sin(declination) + np.cos(latitude) * np.cos(declination) * np.cos(hour)
    south, west = (
        np.sin(latitude) * np.cos(declination) * np.cos(hour) - np.cos(latitude) * np.sin(declination),
        np.cos(declination) * np.sin(hour),
    )
    azimuth = (180.0 + np.degrees(np.arctan2(west, south))) % 360.0
    return azimuth, np.degrees(np.arcsin(sine)), np.maximum(sine, 0.0)


def trees():
    rng = np.random.default_rng(11)
    surface = np.zeros((120, 130), np.float32)
    y, x = np.mgrid[0:120, 0:130]
    for r, c in zip(rng.integers(0, 120, 25), rng.integers(0, 130, 25), strict=True):
        surface[np.hypot(y - r, x - c) < rng.uniform(1.5, 4.5)] = rng.uniform(4, 14)
    return surface, np.full_like(surface, 1.0)


def test_level_land_keeps_everything_and_unknown_stays_unknown():
    flat = np.full((30, 20), 77.0, np.float32)
    eye = flat.copy()
    eye[3, 4] = np.nan
    azimuths = np.arange(0.0, 360.0, 20.0)
    suns = winter_suns()
    beam = sector_tables(suns[0], suns[1], np.stack([suns[2], 0.0 * suns[2]]), azimuths)
    got = folded_share(flat, eye, 1.0, azimuths, np.concatenate([beam, sky_tables(azimuths, NODES)]))
    assert got.shape == (4, 30, 20) and got.dtype == np.float32
    assert np.isnan(got[:, 3, 4]).all() and np.isnan(got[1]).all()  # a table without energy has no share
    np.testing.assert_allclose(got[[0, 2, 3]][:, eye == 77.0], 1.0, atol=2e-6)


def test_memory_may_be_given_back_piece_by_piece_while_a_surface_is_turned(monkeypatch):
    monkeypatch.setattr(horizon_scan, "_TURN_ROWS", 16)
    surface, _ = trees()
    scene, rests = Scene(surface, surface, 1.0), list[float]()
    east = sector_tables(
        np.array([90.0]), np.array([20.0]), np.ones(1), TWELVE
    )  # rows run along it: the surface is turned
    add_folded(scene, TWELVE, east, no_losses(surface.shape, 1), rests.append)
    assert rests.count(0.0) > len(surface) / 16 and rests[-1] == 1.0


def test_folding_equals_the_profile_of_every_cell():
    surface, eye = trees()
    azimuths = np.arange(5.0, 360.0, 15.0)
    beam = sector_tables(*winter_suns(), azimuths)
    tables = np.concatenate([beam, sky_tables(azimuths, NODES)])
    got = folded_share(surface, eye, 1.0, azimuths, tables)
    horizon = np.degrees(np.arctan([horizon_tangent(surface, eye, 1.0, a) for a in azimuths]))
    for r, c in [(0, 0), (60, 65), (119, 129), (30, 100), (80, 20), (5, 64)]:
        np.testing.assert_allclose(
            got[:, r, c], profile_share(horizon[:, r, c], tables), atol=5e-6 + 12 / UNITS
        )  # half a unit a direction
    np.testing.assert_allclose(folded_share(surface, eye, 1.0, azimuths, beam)[0], got[0], atol=0)  # same pass or not


def test_beam_share_against_a_shadow_for_every_sun_position():
    surface, eye = trees()
    suns = [np.asarray(s)[winter_suns()[1] > 0.0] for s in winter_suns()]
    direct = np.zeros(surface.shape)
    for azimuth, elevation, energy in zip(*suns, strict=True):
        direct += energy * ~cast_shadow(surface, eye, 1.0, azimuth, elevation)
    direct /= suns[2].sum()
    error = {}
    for step in (15.0, 10.0, 5.0):
        azimuths = np.arange(0.0, 360.0, step)
        nearest = azimuths[np.round(suns[0] / step).astype(int) % azimuths.size]
        for name, sun_azimuth in (("split", suns[0]), ("nearest", nearest)):
            share = folded_share(surface, eye, 1.0, azimuths, sector_tables(sun_azimuth, *suns[1:], azimuths))[0]
            error[name, step] = np.sqrt(np.mean((share - direct) ** 2))
    print({key: round(float(value), 4) for key, value in error.items()})
    assert direct.std() > 0.05  # else there was nothing to get wrong
    for step in (15.0, 10.0, 5.0):
        assert error["split", step] < error["nearest", step]
    assert error["split", 5.0] < error["split", 10.0] < error["split", 15.0]
    assert error["split", 10.0] < 0.03


@settings(max_examples=60, deadline=None)
@given(
    st.lists(st.tuples(st.floats(0, 360), st.floats(-20, 90), st.floats(0, 1000)), min_size=1, max_size=30),
    st.integers(8, 72),
    st.floats(0, 360),
)
def test_tables_keep_the_energy_and_fall_with_the_horizon(suns, n, turn):
    azimuth, elevation, energy = (np.array(column) for column in zip(*suns, strict=True))
    tables = sector_tables(azimuth, elevation, energy, (turn + np.arange(n) * (360.0 / n)) % 360.0)
    assert tables.shape == (1, n, NODES)
    assert tables[:, :, 0].sum() == pytest.approx(energy[np.sin(np.radians(elevation)) > 0].sum(), rel=1e-9, abs=1e-9)
    assert np.all(np.diff(tables, axis=2) <= 1e-9)


def test_a_sun_is_seen_over_a_lower_horizon_only():
    tables = sector_tables([100.0], [25.0], [3.0], [0, 45, 90, 135, 180, 225, 270, 315])
    assert tables[0, 2, 0] == pytest.approx(3.0 * 35 / 45) and tables[0, 3, 0] == pytest.approx(3.0 * 10 / 45)
    for horizon, share in ((24.9, 1.0), (25.1, 0.0)):
        assert profile_share([horizon] * 8, tables)[0] == pytest.approx(share)


@pytest.mark.parametrize(
    ("call", "message"),
    [
        (lambda: sector_tables([180.0], [20.0, 3.0], [1.0], TWELVE), "shapes"),
        (lambda: sector_tables([180.0], [20.0], [-1.0], TWELVE), "negative"),
        (lambda: sector_tables([10.0], [20.0], [1.0], [90.0, 120.0, 150.0]), "gap of more than 45"),
        (lambda: sector_tables([10.0], [20.0], [1.0], [0.0, 360.0]), "repeats"),
        (
            lambda: folded_share(np.zeros((3, 3)), np.zeros((3, 3)), 1.0, TWELVE, np.zeros((12, NODES))),
            "expected",
        ),
    ],
)
def test_bad_input_is_refused(call, message):
    with pytest.raises(ValueError, match=message):
        call()
