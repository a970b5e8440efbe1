"""The plans of one ranked candidate for a report: earthwork and drainage, sun chart."""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass, field, replace
from typing import TYPE_CHECKING, Any

from tunnelsite.core.errors import TunnelsiteError
from tunnelsite.drawing.markup import plain_name
from tunnelsite.plans.candidate import standing
from tunnelsite.plans.cost.plan import cost
from tunnelsite.plans.cost.settings import CostSettings
from tunnelsite.plans.grading.grade import Graded, graded
from tunnelsite.plans.grading.settings import GradingSettings
from tunnelsite.plans.plan import Plan
from tunnelsite.plans.sunchart.plan import sun_chart_in
from tunnelsite.plans.sunchart.settings import SunChartSettings
from tunnelsite.plans.sunchart.view import SunView
from tunnelsite.report.plain_words import house_words

if TYPE_CHECKING:
    from tunnelsite.screening.result import Result

TITLE_LETTERS = 44  # a longer name would run over the edge of a picture
DRAWS = 100


@dataclass(frozen=True)
class Study:
    """One candidate, studied.

    Attributes:
        rank; row, its columns in `candidates`. title: option, parcel and house in words, shortened. label: its letter or rank.
        graded: its earthwork and water, or None. sun: its sun chart, or None.
        missing: what could not be planned and why, by `grading`, `drainage`, `sun`, `cost`. cost: its cost table, where the run has
        prices. feet: whether its house is in feet.
    """

    rank: int
    row: Mapping[str, Any]
    title: str
    graded: Graded | None = None
    sun: Plan | None = None
    missing: Mapping[str, str] = field(default_factory=dict)
    label: str = ""
    cost: Plan | None = None
    feet: bool = False


UNSEEN = "the elevation model's cells are too wide to show the ground under the pad: level it, or get a finer model."


def studied(
    result: Result, rank: int, view: SunView | None, label: str = "", utc_offset_h: float | None = None
) -> Study:
    """Plan and look round at one candidate; what cannot be done is reported in it, not raised.

    Arguments: result; rank, from 1; view, or None where the surface is not known (a run kept without its inputs); label, letter
    of the option, "" = its rank; utc_offset_h, of the clock of its sun chart, None = solar time.
    """
    row = result.rows[rank - 1]
    title = f"Option {label or rank}, {shortened(str(row['parcel']))}, {house_words(str(row['house']))}"
    missing: dict[str, str] = {}
    earth = chart = None
    try:
        earth = _graded(result, rank) if row["shows_ground"] else None
    except TunnelsiteError as problem:
        missing["grading"] = missing["drainage"] = str(problem)
    if not row["shows_ground"]:
        missing["grading"] = missing["drainage"] = UNSEEN
    if earth is not None and earth.no_water is not None:
        missing["drainage"] = str(earth.no_water)
    if view is None:
        missing["sun"] = "the run was kept without its surface; with the inputs of the screening there are sun charts"
    else:
        try:
            chart = sun_chart_in(view, replace(result.option(rank), title=title), SunChartSettings(utc_offset_h))
        except TunnelsiteError as problem:
            missing["sun"] = str(problem)
    feet = result.scans[result.choices[rank - 1].scan].house.feet
    return Study(rank, row, title, earth, chart, missing, label or str(rank), _costed(result, rank, missing), feet)


def _costed(result: Result, rank: int, missing: dict[str, str]) -> Plan | None:
    """What the work costs at the user's own prices; None without any, or where it cannot be counted, which is added to `missing`."""
    prices = result.settings.prices
    if not prices.items:
        return None
    try:
        return cost(result.site, result.option(rank), CostSettings(price=prices))
    except TunnelsiteError as problem:
        missing["cost"] = str(problem)
        return None


def shortened(name: str, letters: int = TITLE_LETTERS) -> str:
    """A name that fits a picture; the whole of it stands in the text."""
    return plain_name(name, letters)


def _graded(result: Result, rank: int) -> Graded:
    """The grading of a candidate on the frame of its screening. Errors: InputRefused, as `graded`."""
    frame = result.scans[result.choices[rank - 1].scan].frame
    return graded(standing(result.site, result.option(rank), frame=frame), GradingSettings(draws=DRAWS))
