"""Measures for who works in feet: feet first, in steps that a tape shows, the SI number behind."""

from __future__ import annotations

import pytest

from tunnelsite.core import amounts


@pytest.mark.parametrize(
    ("value", "unit", "words"),
    [
        (0.6096, "m", "2 ft (0.6096 m)"),
        (0.05, "m", "2 in (0.05 m)"),
        (-0.1, "m", "-4 in (-0.1 m)"),
        (1.5, "m", "4 ft 11 in (1.5 m)"),
        (60.96, "m", "200 ft (60.96 m)"),
        (4046.8564224, "m2", "1 acre (4046.86 m2)"),
        (2 * 4046.8564224, "m2", "2 acres (8093.71 m2)"),
        (50_000.0, "m2", "12 acres (5 ha)"),
        (9.290304, "m2", "100 sq ft (9.2903 m2)"),
        (0.764554857984, "m3", "1.0 yd³ (0.764555 m3)"),
        (2.5, "%", "2.5 %"),
        (0.4, "1", "0.4"),
        (3.0, None, "3"),
    ],
)
def test_feet_first(value, unit, words) -> None:
    assert amounts.in_unit(value, unit, feet=True) == words
    plain = words.partition("(")[2].rstrip(")") or words
    assert amounts.in_unit(value, unit, feet=False) == plain


def test_signed_depths_and_heights() -> None:
    assert amounts.signed_depth(0.0254, feet=True) == ("+1 in", "+3 cm")
    assert amounts.signed_depth(-0.02, feet=False) == ("−2 cm", "−3/4 in")
    assert amounts.signed_depth(0.0, feet=True) == ("0 in", "0 cm")
    assert amounts.height(30.48, feet=True) == "100 ft" and amounts.height(12.5, feet=False) == "12.5 m"
    assert amounts.step(0.1524, feet=True) == "0.5 ft (0.15 m)"


@pytest.mark.parametrize(
    ("value", "words"), [(-20.65, "-21 m (-68 ft)"), (-0.3, "-30 cm (-1 ft)"), (20.65, "21 m (68 ft)")]
)
def test_distances_below_zero_have_the_figures_of_those_above(value, words) -> None:
    assert amounts.away(value, feet=False) == words


def test_large_amounts_are_written_out() -> None:
    """A stream's 292 ha were `7.2e+02 acres`, a flood's flow `3.5e+02 cfs`."""
    assert amounts.land(2.92e6, feet=True) == "720 acres (292.0 ha)"
    assert amounts.land(2.92e8, feet=True).startswith("72,000 acres")
    assert amounts.flow(10.0, feet=True) == "350 cfs (10,000 l/s)"
    assert amounts.flow(0.04, feet=True) == "1.4 cfs (40 l/s)"


def test_a_least_that_is_relaxed_goes_down() -> None:
    assert amounts.relaxed(0.3, 0.15, "m", feet=False) == "up to 0.3 m, now 0.15 m"
    assert amounts.relaxed(3.0, 5.0, "m", feet=False) == "down to 3 m, now 5 m"


def test_land_that_grew_by_less_than_its_figures_says_by_how_much() -> None:
    assert amounts.more_land(2000.0, 1000.0, feet=False) == "2,000 m² (0.49 acres) instead of 1,000 m² (0.25 acres)"
    assert amounts.more_land(108_120.0, 108_000.0, feet=True) == "1,292 sq ft (120 m²) more than 27 acres (10.8 ha)"
