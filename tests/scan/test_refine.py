"""Flags of a candidate: each from its threshold on, and none where nothing is known."""

from __future__ import annotations

import pytest

from tunnelsite.scan.refine import BUFFER_M, FREEBOARD_M, LOW_M, NIGHT_LUX, POOL_M, WINDY, _site_words


@pytest.mark.parametrize(
    ("column", "below", "above", "words"),
    [
        ("topographic_factor", WINDY - 0.01, WINDY, "hilltop: wind pressure up to about"),
        ("cold_pool_m", POOL_M, POOL_M + 0.01, "frost pocket"),
        ("valley_depth_m", LOW_M, LOW_M + 0.1, "low ground, 2.6 m ("),
        ("night_lux", NIGHT_LUX, NIGHT_LUX + 0.1, "night light 1.1 lx"),
        ("flow_beside_m2", 0.0, 25_000.0, "water from 2.5 ha (6.2 acres) passes beside the pad"),
        ("drainage_distance_m", BUFFER_M, BUFFER_M - 1.0, "swale or cutting runs"),
        ("drainage_height_m", FREEBOARD_M, FREEBOARD_M - 0.05, "in) above the stream, ditch or swale it drains to"),
    ],
)
def test_a_flag_stands_from_its_threshold_on(column: str, below: float, above: float, words: str) -> None:
    assert _site_words({column: below}, feet=False) == []
    assert _site_words({column: None}, feet=False) == []
    [said] = _site_words({column: above}, feet=False)
    assert words in said


def test_a_flag_gives_feet_first_where_the_house_is_in_feet() -> None:
    """A user of feet read `only 0.15 m above the stream` beside a cut in inches."""
    said = _site_words({"valley_depth_m": 3.048, "drainage_height_m": 0.1524, "drainage_distance_m": 6.096}, feet=True)
    assert said == [
        "a stream, ditch, swale or cutting runs 20 ft (6.1 m) from the pad",
        "only 6 in (15 cm) above the stream, ditch or swale it drains to",
        "low ground, 10 ft (3.0 m) below the land within 820 ft (250 m): cold air",
    ]
