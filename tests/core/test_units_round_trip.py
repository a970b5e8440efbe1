"""What is written as people write it reads back as what it was: lengths, sizes, slopes, days, rates, directions."""

from __future__ import annotations

import math
from datetime import UTC, datetime, timedelta, timezone

import numpy as np
import pytest
from hypothesis import given
from hypothesis import strategies as st

from tunnelsite.core.describe import Parameter
from tunnelsite.core.errors import UsageError
from tunnelsite.core.house import House
from tunnelsite.core.units import (
    FOOT_M,
    INCH_M,
    LENGTH_UNITS_M,
    MONTH_DAYS,
    MONTHS,
    days_of,
    feet_inches,
    length_m,
    month_day,
    number,
    slope_fraction,
    whole_number,
)
from tunnelsite.core.wind_rose import WindRose
from tunnelsite.plans.kinds import RainRate
from tunnelsite.processes.wind_shelter import winds
from tunnelsite.settings.model import crop_period, keep_out_parts
from tunnelsite.sun.position import utc_seconds

AMOUNT = st.floats(0, 1e5)
UNITS = st.sampled_from(sorted(LENGTH_UNITS_M))
SPACE = st.sampled_from(["", " ", "  "])
DAYS = st.integers(1, 12).flatmap(lambda month: st.tuples(st.just(month), st.integers(1, MONTH_DAYS[month - 1])))
MONTH_NAMES = [
    "january",
    "february",
    "march",
    "april",
    "may",
    "june",
    "july",
    "august",
    "september",
    "october",
    "november",
    "december",
]


@given(st.floats(allow_nan=False, allow_infinity=False))
def test_numbers_to_the_last_bit(value: float) -> None:
    assert number(repr(value), "x") == value
    assert number(f" {value!r} ", "x") == value


@given(st.integers(0, 1000), st.integers(1, 64), st.integers(1, 64))
def test_fractions(whole: int, top: int, bottom: int) -> None:
    assert number(f"{top}/{bottom}", "x") == top / bottom
    assert number(f"{whole} {top}/{bottom}", "x") == whole + top / bottom
    assert length_m(f"{whole} {top}/{bottom} in") == pytest.approx((whole + top / bottom) * INCH_M, rel=1e-15)


@given(st.integers(-(10**18), 10**18))
def test_whole_numbers(value: int) -> None:
    for text in (str(value), f"{value}.0", value):
        assert whole_number(text, "x", -(10**18), 10**18) == value


@given(AMOUNT, UNITS, SPACE, st.sampled_from([str.lower, str.upper]))
def test_lengths_in_every_unit(value: float, unit: str, space: str, case) -> None:
    factor = LENGTH_UNITS_M[unit]
    assert length_m(case(f"{value!r}{space}{unit}"), most_m=1e12) == value * factor
    assert length_m(repr(value)) == value == length_m(value)  # a bare number is in metres


@given(st.integers(0, 300), st.floats(0, 12, exclude_max=True))
def test_feet_with_inches(feet: int, inches: float) -> None:
    for text in (f"{feet} ft {inches!r} in", f"{feet}'{inches!r}\"", f"{feet}ft {inches!r}in"):
        assert length_m(text) == pytest.approx(feet * FOOT_M + inches * INCH_M, abs=1e-12)


@given(st.floats(0, 2000), st.sampled_from([1, 2, 4, 8, 16, 32]))
def test_what_is_read_on_a_tape_is_read_back(metres: float, parts: int) -> None:
    assert length_m(feet_inches(metres, parts)) == pytest.approx(metres, abs=INCH_M / parts / 2 + 1e-9)
    again = length_m(feet_inches(metres, parts))
    assert feet_inches(again, parts) == feet_inches(metres, parts)


SIDE = st.floats(1.0, 900.0)


@given(SIDE, SIDE, st.sampled_from(["m", "ft", "yd", "'"]), st.sampled_from(["x", "X", "×", " x ", " × "]))
def test_sizes_of_houses(one: float, other: float, unit: str, cross: str) -> None:
    width, length = sorted((one / LENGTH_UNITS_M[unit], other / LENGTH_UNITS_M[unit]))
    sizes = (width * LENGTH_UNITS_M[unit], length * LENGTH_UNITS_M[unit])
    if not 1.0 <= sizes[0] <= sizes[1] <= 1000.0:
        return  # off by the last bit
    for text in (f"{width!r}{cross}{length!r}{unit}", f"{width!r}{unit}{cross}{length!r} {unit}"):
        house = House.parse(text)
        assert (house.width_m, house.length_m) == sizes
        assert house.feet == (unit in ("ft", "'"))
        again = House.parse(house.name)  # the name is what a table carries on
        assert (again.width_m, again.length_m, again.name) == (house.width_m, house.length_m, house.name)


@given(st.floats(0, 0.99))
def test_slopes(rise: float) -> None:
    for text, exact in (
        (repr(rise), 0.0),
        (f"{100 * rise!r} %", 1e-15),
        (f"{100 * rise!r}%", 1e-15),
        (f"{math.degrees(math.atan(rise))!r} deg", 1e-14),
        (f"{math.degrees(math.atan(rise))!r}°", 1e-14),
        (f"{rise!r} m per 1 m", 1e-15),
        (f"{rise * 12!r} in per 1 ft", 1e-14),
    ):
        assert slope_fraction(text) == pytest.approx(rise, rel=1e-13, abs=exact), text


@given(DAYS)
def test_days_of_the_year(day: tuple[int, int]) -> None:
    month, number_of_day = day
    name, full = MONTHS[month - 1], MONTH_NAMES[month - 1]
    for text in (
        f"{month:02d}-{number_of_day:02d}", f"{month}-{number_of_day}", f"{number_of_day} {name}", f"{name} {number_of_day}",
        f"{number_of_day}. {full.capitalize()}", f"{full.upper()} {number_of_day:02d}",
    ):  # fmt: skip
        assert month_day(text) == day


@given(DAYS, DAYS)
def test_periods_of_the_year(first: tuple[int, int], last: tuple[int, int]) -> None:
    assert crop_period("{:02d}-{:02d}:{:02d}-{:02d}".format(*first, *last)) == (first, last)
    assert crop_period(f"{first[1]} {MONTHS[first[0] - 1]}:{MONTHS[last[0] - 1]} {last[1]}") == (first, last)
    days = days_of((first, last))
    assert (
        len(set(days)) == len(days) and days[0] == days_of((first, first))[0] and days[-1] == days_of((last, last))[0]
    )


def test_a_period_over_new_year_keeps_both_ends() -> None:
    assert days_of(((12, 30), (1, 2))) == [364, 365, 1, 2]
    assert days_of(((1, 1), (12, 31))) == list(range(1, 366)) and days_of(((12, 31), (12, 31))) == [365]
    assert len(days_of(((10, 1), (4, 30)))) == 31 + 30 + 31 + 31 + 28 + 31 + 30


@given(st.floats(0.00001, 3.0), st.sampled_from(["mm", "in", "cm"]), st.sampled_from(["h", "hr", " hour", " h"]))
def test_rates_of_rain(depth_m: float, unit: str, per: str) -> None:
    depth = depth_m / LENGTH_UNITS_M[unit]
    if 1e-5 <= depth * LENGTH_UNITS_M[unit] <= 3.0:
        assert RainRate("Rain", "Rain.").read(f"{depth!r}{unit}/{per}", "rain") == pytest.approx(
            1000 * depth_m, rel=1e-14
        )


@given(st.text(st.characters(blacklist_categories=("Cs", "Cc")), min_size=1, max_size=30), AMOUNT)
def test_keep_outs_with_a_distance(file: str, distance: float) -> None:
    assert keep_out_parts(f"{file}@{distance!r}m") == (file, distance)
    assert keep_out_parts(f"{file}@{distance!r}ft")[1] == distance * FOOT_M


@given(st.lists(st.tuples(st.floats(0, 359.9), st.floats(0.01, 100)), min_size=1, max_size=16))
def test_roses_of_the_wind(parts: list[tuple[float, float]]) -> None:
    away, share = (np.array(column) for column in zip(*parts, strict=True))
    rose = WindRose(away, share / share.sum())
    back, shares = winds(rose.text())
    assert back == pytest.approx(away % 360.0, abs=1e-9) and shares == pytest.approx(rose.share, abs=1e-9)


@given(st.datetimes(datetime(1980, 1, 2), datetime(2060, 12, 30)), st.integers(-14 * 60, 14 * 60))
def test_times(when: datetime, offset_minutes: int) -> None:
    zone = timezone(timedelta(minutes=offset_minutes))
    there = when.replace(tzinfo=UTC).astimezone(zone)
    if 1980 <= there.year <= 2060:
        assert utc_seconds(there.isoformat()) == pytest.approx(when.replace(tzinfo=UTC).timestamp(), abs=1e-5)
    assert utc_seconds(when.isoformat() + "Z") == utc_seconds(when.isoformat() + "+00:00")
    with pytest.raises(UsageError, match="without its zone"):
        utc_seconds(when.isoformat())


@given(st.floats(-1e6, 1e6), st.integers(-(10**9), 10**9), st.booleans(), st.text(max_size=20))
def test_parameters_of_processes(real: float, whole: int, flag: bool, words: str) -> None:
    for default, value in ((1.5, real), (3, whole), (True, flag), ("a", words)):
        parameter = Parameter("p", "p", default)
        assert parameter.checked(value, "x") == value
        assert parameter.checked(str(value), "x") == value  # as `--set p=VALUE` hands it on
