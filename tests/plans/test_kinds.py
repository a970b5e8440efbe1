"""Settings that only plans have, as they come in JSON."""

from __future__ import annotations

import pytest

from tunnelsite.core.errors import UsageError
from tunnelsite.plans.kinds import Days, Readings

ASKED = Readings("Horizon", "as read in the field")
SOUND = [[0, 12], [360, -10], [180.5, 90]]


def test_readings_of_a_horizon_are_pairs_of_azimuth_and_elevation() -> None:
    for given in (SOUND, {"readings": SOUND}):
        found = ASKED.read(given, "horizon")
        assert found.azimuth_deg == (0, 360, 180.5) and found.elevation_deg == (12, -10, 90)


@pytest.mark.parametrize("wrong", [[361, 5], [-1, 5], [90, -11], [90, 91]])
def test_a_reading_that_no_compass_or_clinometer_shows_is_named(wrong) -> None:
    with pytest.raises(UsageError, match=rf"\({wrong[0]}(\.0)?, {wrong[1]}(\.0)?\)"):
        ASKED.read([*SOUND, wrong], "horizon")


def test_two_readings_are_no_horizon() -> None:
    with pytest.raises(UsageError, match="holds 2 readings"):
        ASKED.read(SOUND[:2], "horizon")
    with pytest.raises(UsageError, match="pairs"):
        ASKED.read([1, 2, 3], "horizon")


def test_days_are_one_or_more_days_of_the_year() -> None:
    days = Days("Days", "of the chart")
    assert days.read("12-21,06-21", "days") == days.read([(12, 21), (6, 21)], "days") == ((12, 21), (6, 21))
    with pytest.raises(UsageError, match="holds 0 days"):
        days.read([], "days")
    with pytest.raises(UsageError, match="holds 401 days"):
        days.read([(1, 1)] * 401, "days")
