"""Level ground on a dam, a levee or the bank of a road or railway is told; knolls, terraces, slopes and broad rises are not."""

from __future__ import annotations

from types import SimpleNamespace

import numpy as np
import pytest

from tunnelsite.scan.embankment import LEAST_M, embankment_words, fall_beside

R, C = np.mgrid[-60:61, -60:61].astype(np.float32)


def bank(away: np.ndarray, half_m: float = 8.0, high_m: float = 4.0) -> np.ndarray:
    """A crest with sides of 1 in 2. Arguments: away, distance from its middle line."""
    return np.float32(100.0 + high_m - np.clip((np.abs(away) - half_m) / 2, 0, high_m))


@pytest.mark.parametrize("degrees", [0.0, 22.5, 35.0, 90.0, 135.0])
@pytest.mark.parametrize("slope", [0.0, 0.02])
def test_a_bank_is_told_whichever_way_it_runs(degrees: float, slope: float) -> None:
    turn = np.radians(degrees)
    ground = bank(np.cos(turn) * R - np.sin(turn) * C) + np.float32(slope) * (np.cos(turn) * C + np.sin(turn) * R)
    fall = fall_beside(ground, 60, 60, 1.0)
    assert 3.0 < fall <= 4.7, "a side that falls off to the crest's end falls by a little more"
    for other in (ground[::-1], ground[:, ::-1], ground + np.float32(64.0)):
        assert fall_beside(other, 60, 60, 1.0) == pytest.approx(fall, abs=0.05)
    scan = SimpleNamespace(
        frame=SimpleNamespace(ground=ground, grid=SimpleNamespace(cell_m=1.0)), house=SimpleNamespace(feet=False)
    )
    words = embankment_words(scan, 60, 60)
    assert words.startswith("may be a dam, a levee or the bank of a road or railway:") and ";" not in words
    assert not embankment_words(scan, 5, 60) or degrees != 0, "the field beside it"


@pytest.mark.parametrize(
    "ground",
    [
        np.zeros_like(R),
        bank(R, high_m=LEAST_M - 0.2),  # hardly higher than the field
        bank(R, half_m=40.0),  # as broad as a terrace or a railway yard
        bank(np.hypot(R, C)),  # a knoll
        bank(np.maximum(R, 0)),  # a terrace: level behind
        100 + 0.2 * R,  # a slope
        104 - 0.001 * R**2,  # a rise that falls by 0.9 m over 30 m
        np.where(np.abs(C) > 10, np.nan, bank(R)),  # it is not known whether it runs on
        np.where(R > 5, np.nan, bank(R)),  # nor how the other side lies
    ],
)
def test_what_is_no_bank(ground: np.ndarray) -> None:
    assert fall_beside(np.float32(ground), 60, 60, 1.0) < LEAST_M


def test_the_end_of_the_data_is_no_fall() -> None:
    assert fall_beside(bank(R)[:62], 60, 60, 1.0) == fall_beside(bank(R)[:, :62], 60, 60, 1.0) == 0.0
