"""What may be asked of a stake-out."""

from __future__ import annotations

import datetime
from dataclasses import dataclass
from typing import Annotated, Literal

from tunnelsite.core.errors import UsageError
from tunnelsite.core.level_book_text import LevelBookText
from tunnelsite.core.planned_pad import PlannedPad, SummarisedPlan
from tunnelsite.core.stake_distances import BENCH_M, BOARD_M, POST_M
from tunnelsite.core.units import VERTICAL_UNITS_M, length_m, number
from tunnelsite.plans.kinds import Book, Day, Marks, PadOfPlan
from tunnelsite.settings.kinds import Choice, Flag, Length, Text

STAKES, PAD, LEVELS = "Stakes", "Finished pad", "Level book"
HIGHEST_M = 1e4  # of a mark, above or below its datum
BENCH = "the mark on which the book starts (--bench-height)"


@dataclass(frozen=True)
class StakeOutSettings:
    """Settings of a stake-out. Apron, finished pitch and shrink factor come with the placement.

    Errors: UsageError for a level book without unit or height of its mark, or those without a book; for two finished pads.
    """

    post_spacing_m: Annotated[
        float, Length("Post spacing", "Widest space between ground posts.", STAKES, 0.0, 200.0)
    ] = POST_M
    offset_m: Annotated[
        float | None,
        Length(
            "Offset stakes",
            "Offset stakes so far beyond the pad.",
            STAKES,
            0.3,
            30.0,
            without="5 ft, or 1.5 m for a house in metres",
        ),
    ] = None
    tie: Annotated[
        tuple[str, ...],
        Marks("Ties", "A fixed point to tape from, such as the corner of a barn or a parcel, in WGS 84 degrees; two fix every corner.",
              STAKES, metavar="NAME=LON,LAT"),
    ] = ()  # fmt: skip
    boards_m: Annotated[float, Length("Boards", "Batter boards so far beyond the pad.", STAKES, 0.0, 200.0)] = BOARD_M
    bench_mark_m: Annotated[float, Length("Bench mark", "Bench mark so far beyond the pad.", STAKES, 0.0, 200.0)] = (
        BENCH_M
    )
    date: Annotated[
        datetime.date | None,
        Day(
            "Day in the field",
            "Day in the field, as 2027-03-15: gives the compass bearing.",
            STAKES,
            without="no compass bearing is given",
        ),
    ] = None
    plane: Annotated[
        Literal["least-squares", "least-volume"] | None,
        Choice("Plane", "Least squares, as screened, or the plane that moves the least earth.", PAD,
               without="least-squares"),
    ] = None  # fmt: skip
    grading: Annotated[
        PlannedPad | SummarisedPlan | None,
        PadOfPlan(
            "Grading plan", "NAME.json that `grading` wrote: the stakes get the finished heights of that plan.", PAD
        ),
    ] = None
    level_book: Annotated[
        LevelBookText | None,
        Book("Level book", "CSV of readings at the stakes: the plan is made again from them.", LEVELS),
    ] = None
    level_unit: Annotated[
        Literal["m", "ft", "us-ft"] | None, Choice("Level unit", "Unit of the readings; there is no default.", LEVELS)
    ] = None
    bench_height: Annotated[
        str | None,
        Text("Bench height", "Height of the mark on which the book starts, as 100ft; a bare number is in the unit of the "
             "readings.", LEVELS, metavar="HEIGHT"),
    ] = None  # fmt: skip
    known_height: Annotated[
        tuple[str, ...], Marks("Known heights", "Other known marks to close on, as STATION=HEIGHT.", LEVELS)
    ] = ()
    as_built: Annotated[
        bool, Flag("As built", "The readings are of the finished pad: check it against the tolerance.", LEVELS)
    ] = False

    def __post_init__(self) -> None:
        if self.grading is not None and not isinstance(self.grading, PlannedPad):
            pad = PadOfPlan("Grading plan", "").read(self.grading, "grading")
            object.__setattr__(self, "grading", pad)
        if self.grading is not None and (self.plane is not None or self.level_book is not None):
            other = "--plane" if self.plane is not None else "--level-book"
            raise UsageError(
                f"--grading and {other}",
                "one of them",
                "leave one out: with a level book the plan is made again from the readings",
            )
        if self.level_book is None:
            for name in ("level_unit", "bench_height", "known_height", "as_built"):
                if getattr(self, name):
                    option = f"--{name.replace('_', '-')}"
                    raise UsageError(f"{option} without --level-book", "both together", "name the level book")
            return
        if self.level_unit is None:
            raise UsageError("--level-book without --level-unit", "m, ft or us-ft", "say what the rod was read in")
        if self.bench_height is None:
            raise UsageError(
                "--level-book without --bench-height",
                "the height of the mark on which the book starts",
                "give it; 100 will do if nothing is known",
            )
        self.known_heights(BENCH)

    @property
    def pad_of_plan(self) -> PlannedPad | None:
        """The pad of the grading plan, None without one."""
        return (
            self.grading if isinstance(self.grading, PlannedPad) else None
        )  # a plan was read when the settings were made

    def known_heights(self, first: str) -> dict[str, float]:
        """Heights of known marks [m] by station, with a level book; a bare number is in the unit of the readings.

        Arguments: first, the station on which the book starts. Errors: UsageError.
        """
        pairs = {first: self.bench_height or ""}
        for text in self.known_height:
            station, equals, height = text.rpartition("=")
            if not equals or not station or not height:
                raise UsageError(f"--known-height is {text!r}", "STATION=HEIGHT", "write it as STATION=HEIGHT")
            pairs[station] = height
        unit_m = VERTICAL_UNITS_M[self.level_unit or "m"]
        return {station: _height(text, station, unit_m) for station, text in pairs.items()}


def _height(text: str, station: str, unit_m: float) -> float:
    what = f"height of {station}"
    try:
        height_m = number(text, what) * unit_m
    except UsageError:
        height_m = length_m(text, what, least_m=-HIGHEST_M, most_m=HIGHEST_M)
    if abs(height_m) > HIGHEST_M:
        raise UsageError(f"{what} is {text!r}", f"{-HIGHEST_M:g} to {HIGHEST_M:g} m", "correct the height")
    return height_m
