"""What a run needs is said before it; what is advised does make it less."""

from __future__ import annotations

from tunnelsite.core.counting import time_words
from tunnelsite.desk.run_cost import run_cost
from tunnelsite.screening.run_cost import Work, estimated
from tunnelsite.settings.model import settings_from

PLENTY, LITTLE = 64_000_000_000, 500_000_000
FARM = Work(cells=1_000_000, source_cells=1_000_000, parcel_cells=400_000, pad_cells=(400.0,))
COUNTY = Work(cells=500_000_000, source_cells=500_000_000, parcel_cells=450_000_000, pad_cells=(400.0,), frames=3)


def test_usual_farm_is_one_short_line() -> None:
    told = run_cost(FARM, settings_from({}), 1.0, PLENTY)
    assert told.fits and not told.advice and "memory" not in told.words
    assert told.words == f"A run takes about {time_words(estimated(FARM).seconds)}." and told.words.endswith(" s.")


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
