"""Flags of a candidate: each from its threshold on, and none where nothing is known."""

from __future__ import annotations

import pytest

from tunnelsite.scan.refine import BUFFER_M, FREEBOARD_M, LOW_M, NIGHT_LUX, POOL_M, WINDY, _site_words


@pytest.mark.parametrize(
    ("column", "below", "above", "words"),
    [
        ("topographic_factor", WINDY - 0.01, WINDY, "hilltop: wind pressure up to about"),
        ("cold_pool_m", POOL_M, POOL_M + 0.01, "frost pocket"),
        ("valley_depth_m", LOW_M, LOW_M + 0.1, "low ground, 2.6 m below the land within 250 m"),
        ("night_lux", NIGHT_LUX, NIGHT_LUX + 0.1, "night light 1.1 lx"),
        ("flow_beside_m2", 0.0, 25_000.0, "water from 2.5 ha passes beside the pad"),
        ("drainage_distance_m", BUFFER_M, BUFFER_M - 1.0, "swale or cutting runs"),
        ("drainage_height_m", FREEBOARD_M, FREEBOARD_M - 0.05, "m above the stream, ditch or swale it drains to"),
    ],
)
def test_a_flag_stands_from_its_threshold_on(column: str, below: float, above: float, words: str) -> None:
    assert _site_words({column: below}) == []
    assert _site_words({column: None}) == []
    [said] = _site_words({column: above})
    assert words in said
