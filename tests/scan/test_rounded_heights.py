"""A screening on heights that were rounded: doubted first, never level without error, never open water by rounding."""

from __future__ import annotations

import numpy as np
import pytest
from scipy import ndimage

from tests.scan.grounds import site
from tests.whole_run.files import gentle, plain_farm
from tunnelsite import House, screen
from tunnelsite.hosts.cli.screening import summary_of, words_of
from tunnelsite.io.read.site import site_from
from tunnelsite.plans.candidate import find_candidate
from tunnelsite.settings.model import settings_from


@pytest.fixture(scope="module")
def rounded():
    draws = np.random.default_rng(2)
    waves = ndimage.gaussian_filter(draws.normal(size=(130, 160)), 14)
    ground = 254.3 + 9 * waves / np.ptp(waves) + draws.normal(0, 0.02, waves.shape)
    given = {"halo": "10m", "crop_months": "12-01:12-10", "azimuths": 8, "top": 5, "elevation_error": "0.02m"}
    return screen(site(np.round(ground)), House(6, 15, kind="container"), settings=settings_from(given))


def test_the_doubt_comes_first_everywhere(rounded) -> None:
    assert rounded.doubts and "steps of 1 m" in rounded.doubts[0]
    first = next(row for row in rounded.tables["run"].rows if row["kind"] == "note")
    assert first["name"] == "doubt" and first["value"] == rounded.doubts[0]
    summary = summary_of(rounded, "s.gpkg", 1.0)
    assert summary["doubts"] == rounded.doubts and not any(
        text in note for note in summary["notes"] for text in rounded.doubts
    )
    assert words_of(summary, False).startswith("DOUBT: heights of DEM come in steps of 1 m")


def test_no_pitch_is_without_error_whatever_was_stated(rounded) -> None:
    """At least step / sqrt(12), stated 0.02 m or not; on ground that reads level too."""
    assert rounded.rows
    for row in rounded.rows:
        assert row["pitch_se_pct"] > 1.0 and "heights in steps of 1 m" in row["flags"]
        assert "as it lies" not in row["flags"]
    table = rounded.tables["candidates"]
    for name in ("score_roughness", "score_crown"):  # smooth and level by rounding, not by nature
        assert table.values(name) == [None] * len(rounded.rows)


def test_rounding_is_not_open_water(rounded) -> None:
    rejected = {row["rule"] for row in rounded.tables["rejections"].rows if row["rejected"]}
    assert not {"water_like", "raised"} & rejected
    assert not (rounded.frame.layers["water_like"] == 1).any() and np.isnan(rounded.frame.layers["water_like"]).any()


def test_plans_that_follow_say_it_first_too(tmp_path) -> None:
    dem, parcels = plain_farm(tmp_path, np.round(gentle() / 0.2) * 0.2)
    given = {
        "dem": str(dem),
        "parcels": str(parcels),
        "house": "6x15m",
        "kind": "container",
        "halo": "20m",
        "azimuths": 8,
    }
    sites = tmp_path / "s.gpkg"
    screen(site_from(settings_from(given)), settings=settings_from(given | {"crop_months": "12-01:12-10"})).write(sites)
    found = find_candidate({"dem": str(dem), "parcels": str(parcels)}, str(sites), 1)
    assert "steps of 0.2 m" in found.notes[0] and found.frame.step_m == 0.2
