"""What a run needs is said before it; what is advised does make it less."""

from __future__ import annotations

import pytest

from tunnelsite.desk.run_cost import run_cost, time_words
from tunnelsite.screening.run_cost import Work
from tunnelsite.settings.model import settings_from

PLENTY, LITTLE = 64_000_000_000, 500_000_000
FARM = Work(cells=1_000_000, source_cells=1_000_000, parcel_cells=400_000, pad_cells=(400.0,))
COUNTY = Work(cells=500_000_000, source_cells=500_000_000, parcel_cells=450_000_000, pad_cells=(400.0,), frames=3)


def test_usual_farm_is_one_short_line() -> None:
    told = run_cost(FARM, settings_from({}), 1.0, PLENTY)
    assert told.fits and not told.advice and told.words.endswith(" s.") and "memory" not in told.words


def test_field_over_most_of_a_large_model_says_what_it_needs_and_what_to_do() -> None:
    told = run_cost(COUNTY, settings_from({}), 1.0, PLENTY)
    advice = " ".join(told.advice)
    assert " min to " in told.words and "GB of memory" in told.words
    assert "“Working cell” under Ground: 6.6 ft" in advice and "“Bearings either side”" in advice and "--" not in advice
    assert "“Land around”" not in advice  # the land round the fields is not what makes it large
    assert "2 m brings" in " ".join(run_cost(COUNTY, settings_from({"house": "9x29m"}), 1.0, PLENTY).advice)


def test_run_that_cannot_fit_says_so() -> None:
    told = run_cost(FARM, settings_from({}), 1.0, LITTLE // 2)
    assert not told.fits and "all that is free" in told.words and told.advice


def test_cells_that_would_hide_the_pitch_are_not_advised() -> None:
    assert "Working cell" not in " ".join(run_cost(COUNTY, settings_from({"house": "10x20ft"}), 1.5, PLENTY).advice)


@pytest.mark.parametrize(
    ("seconds", "words"), [(1, "5 s"), (42, "40 s"), (100, "2 min"), (5000, "83 min"), (7200, "2 h"), (9000, "2.5 h")]
)
def test_time_is_said_as_people_say_it(seconds: float, words: str) -> None:
    assert time_words(seconds) == words
