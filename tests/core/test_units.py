"""Amounts as people write them."""

from __future__ import annotations

import math

import pytest

from tunnelsite.core.errors import UsageError
from tunnelsite.core.house import House, Pad
from tunnelsite.core.units import (
    FOOT_M,
    US_SURVEY_FOOT_M,
    also_in_feet,
    angle_deg,
    length_m,
    month_day,
    number,
    slope_fraction,
)
from tunnelsite.settings.model import crop_period, settings_from


@pytest.mark.parametrize(
    ("text", "metres"),
    [
        ("30ft", 9.144),
        ("30 ft", 9.144),
        ("9.1 m", 9.1),
        ("9.1", 9.1),
        ("6'", 1.8288),
        ("12 ft 6 in", 3.81),
        ("3/4 in", 0.01905),
        ("1 1/2 in", 0.0381),
        ("12 in", 0.3048),
        ("100 cm", 1.0),
        ("1 yd", 0.9144),
        ("1 mi", 1609.344),
        ("-0", 0.0),
    ],
)
def test_lengths(text: str, metres: float) -> None:
    assert length_m(text) == pytest.approx(metres, abs=1e-12)


@pytest.mark.parametrize(
    "text", ["", "30 furlongs", "ft", "9,1 m", "nan", "inf m", "-5 m", "1e30 m", "30 ft of", "3/0 in"]
)
def test_lengths_refused(text: str) -> None:
    with pytest.raises(UsageError) as error:
        length_m(text, "setback")
    assert "setback" in str(error.value)
    assert error.value.exit_status == 2


def test_decimal_comma_has_a_hint() -> None:
    with pytest.raises(UsageError, match=r"'0\.5'"):
        number("0,5", "weight")


def test_feet_are_the_feet_of_the_law() -> None:
    """International foot 0.3048 m exactly; US survey foot 1200/3937 m [@foot-definitions]."""
    assert FOOT_M == 0.3048
    assert pytest.approx(0.3048006096, abs=1e-10) == US_SURVEY_FOOT_M


@pytest.mark.parametrize(
    ("text", "fraction"),
    [
        ("0.5 %", 0.005),
        ("1/192", 1 / 192),
        ("3/4 in per 12 ft", 1 / 192),
        ("0.29841 deg", 1 / 192),
        ("0.02", 0.02),
        ("1 in per 100 in", 0.01),
    ],
)
def test_slopes(text: str, fraction: float) -> None:
    """3/4 in per 12 ft = 0.5208 % = 0.29841 deg: [@pitch-tolerance]."""
    assert slope_fraction(text) == pytest.approx(fraction, rel=1e-4)


@pytest.mark.parametrize("text", ["", "-1 %", "100 %", "46 deg", "steep", "1 per 0 m"])
def test_slopes_refused(text: str) -> None:
    with pytest.raises(UsageError):
        slope_fraction(text)


@pytest.mark.parametrize(
    ("text", "day"),
    [("10-01", (10, 1)), ("10 Oct", (10, 10)), ("Oct 10", (10, 10)), ("1 october", (10, 1)), ("02-29", (2, 28))],
)
def test_month_days(text: str, day: tuple[int, int]) -> None:
    assert month_day(text) == day


@pytest.mark.parametrize("text", ["13-01", "02-30", "10", "Oct", "32 Jan", "10-01-2025", "Oct 10 11"])
def test_month_days_refused(text: str) -> None:
    with pytest.raises(UsageError):
        month_day(text)


@pytest.mark.parametrize(
    ("text", "degrees"),
    [
        ("75", 75),
        (280, 280),
        ("N", 0),
        ("nnw", 337.5),
        ("South-West", 225),
        ("E-W", 90),
        ("north-south", 0),
        ("NW-SE", 135),
        ("SW-NE", 45),
        ("east", 90),
    ],
)
def test_angles(text, degrees: float) -> None:
    assert angle_deg(text, "bearing") == degrees


@pytest.mark.parametrize("text", ["", "north by west", "N-E-S", "E-SW", "90 deg", "1,5", "n-n"])
def test_angles_refused(text: str) -> None:
    with pytest.raises(UsageError):
        angle_deg(text, "bearing")


def test_a_month_by_itself_is_its_first_or_last_day_in_a_period() -> None:
    assert crop_period("Oct:Apr") == ((10, 1), (4, 30)) and crop_period("10 Oct : Feb") == ((10, 10), (2, 28))
    assert settings_from({"bearing": "N-S", "wind_from": "NW"}).bearing_deg == 0.0
    with pytest.raises(UsageError, match=r"Oct:Apr"):
        crop_period("Oct")


def test_houses() -> None:
    house = House.parse("30x96ft")
    assert (house.width_m, house.length_m) == pytest.approx((9.144, 29.2608))
    assert house.feet and house.name == "30x96ft"
    assert House.parse("9.1 x 29.3 m").width_m == pytest.approx(9.1)
    assert House.parse("30ft x 29.3m").length_m == pytest.approx(29.3)
    assert Pad.around(house, 1.2192).area_m2 == pytest.approx((30 + 8) * (96 + 8) * FOOT_M**2)


@pytest.mark.parametrize(
    "text", ["30x96", "96x30ft", "30ft", "0x96ft", "-1x5m", "nanx5m", "30xinfft", "5000x9000m", "ax b ft", ""]
)
def test_houses_refused(text: str) -> None:
    with pytest.raises(UsageError) as error:
        House.parse(text)
    assert error.value.exit_status == 2


def test_house_refuses_nan_built_in_python() -> None:
    with pytest.raises(UsageError):
        House(math.nan, 10.0)
    with pytest.raises(UsageError):
        House(5.0, 10.0, kind="palace")


def test_lengths_of_a_table_again_in_feet() -> None:
    found = also_in_feet({"cut_m": 0.3048, "fill_m": -3.048, "low_m": -0.00001, "none_m": None})
    assert found == {"cut_ft": 1.0, "fill_ft": -10.0, "low_ft": 0.0, "none_ft": None}
    assert math.copysign(1.0, found["low_ft"]) == 1.0  # no minus zero in a table
