"""What may be asked of a block of houses."""

from __future__ import annotations

import datetime
import re
from collections.abc import Iterable, Mapping
from dataclasses import dataclass, field
from typing import TYPE_CHECKING, Annotated, Any, Literal

from tunnelsite.core.errors import UsageError
from tunnelsite.core.units import month_day, whole_number
from tunnelsite.plans.layout.defaults import AISLE_M, GAP_M, GIVE_POINTS, TIME_LIMIT_S
from tunnelsite.settings.kinds import ByName, Choice, Flag, Length, Number, Several, Text, Whole
from tunnelsite.settings.prices import PriceList, Prices

if TYPE_CHECKING:
    from tunnelsite.plans.layout.compact_block import BlockRules
    from tunnelsite.plans.layout.packing import LayoutRules
    from tunnelsite.plans.layout.scattered import ShadeRule
    from tunnelsite.settings.model import Settings

HOUSES, GAPS, SHADE, MONEY = "Houses", "Gaps", "Shade", "Money"
MOST_HOUSES = 1000
FOR_SCATTERED = ("mix", "end_gap_m", "time_limit_s", "first")
FOR_COMPACT = ("aisle_m", "give")
A_YEAR = 2027  # the year matters to the sun's declination by 0.2 deg at most


@dataclass(frozen=True)
class Counts(ByName):
    """How many of each size: WxL=NUMBER on the command line, a table of numbers in JSON."""

    value: str = "integer"

    def read(self, value: Any, what: str) -> dict[str, int]:
        """Numbers by size, from a table or from texts."""
        pairs = list(value.items()) if isinstance(value, Mapping) else [_size(text) for text in value]
        return {name: whole_number(count, f"{what} {name}", 0, MOST_HOUSES) for name, count in pairs}


@dataclass(frozen=True)
class Names(Several):
    """Names; on the command line the option is repeated."""

    def read(self, value: Any, what: str) -> tuple[str, ...]:
        """The names as a tuple."""
        return tuple(super().read(value, what))


@dataclass(frozen=True)
class LayoutSettings:
    """Settings of a block of houses. Sizes, limits and services come with the screening.

    Errors: UsageError for settings that do not go together.
    """

    houses: Annotated[int, Whole("Houses", "How many houses at most.", HOUSES, 1, MOST_HOUSES)] = 2
    scattered: Annotated[
        bool,
        Flag("Scattered", "Put each house where it is best, wherever that is; else one compact block.", HOUSES),
    ] = False
    mix: Annotated[
        dict[str, int],
        Counts("Mix", "Scattered: how many of one house size at most.", HOUSES, metavar="WxL=NUMBER"),
    ] = field(default_factory=dict)  # fmt: skip
    parcel: Annotated[tuple[str, ...], Names("Parcels", "Only on these parcels.", HOUSES, without="all")] = ()
    first: Annotated[
        Literal["score", "houses"],
        Choice("First", "Scattered: highest total score first, or most houses first.", HOUSES),
    ] = "score"
    gap_m: Annotated[float, Length("Gap", "Clear between long sides.", GAPS, 0.0, 900.0)] = GAP_M
    end_gap_m: Annotated[
        float | None,
        Length("End gap", "Scattered: clear between ends.", GAPS, 0.0, 900.0, without="as the gap"),
    ] = None  # fmt: skip
    aisle_m: Annotated[
        float, Length("Aisle", "Room for machines between or along the rows' ends.", GAPS, 0.0, 900.0)
    ] = AISLE_M
    shade_from: Annotated[
        str | None,
        Text("Shade from", "No house shades the next from this solar time until as long after noon.", SHADE,
             metavar="HH:MM"),
    ] = None  # fmt: skip
    shade_day: Annotated[
        str | None,
        Text("Shade day", "Day on which no house shades the next.", SHADE, metavar="MM-DD", without="midwinter"),
    ] = None
    roof: Annotated[Literal["arch", "gable"], Choice("Roof", "What casts the shade.", SHADE)] = "arch"
    eave_m: Annotated[float, Length("Eave", "Eave height of a gable.", SHADE, 0.0, 30.0)] = 0.0
    price: Annotated[
        Prices | None,
        PriceList("Prices", "Your own unit prices. Those of trenches weigh in the choice of a compact block.", MONEY,
                  without="none, and no cost is given"),
    ] = None  # fmt: skip
    give: Annotated[
        float, Number("Give", "Mean points a compact block may give up for cheaper trenches.", MONEY, 0.0)
    ] = GIVE_POINTS
    time_limit_s: Annotated[
        float, Number("Time limit", "Scattered: seconds for the solver, about.", HOUSES, 0.01, 1e6, metavar="SECONDS")
    ] = TIME_LIMIT_S

    def __post_init__(self) -> None:
        defaults = {name: one.default for name, one in self.__dataclass_fields__.items()} | {"mix": {}}
        for name in FOR_COMPACT if self.scattered else FOR_SCATTERED:
            if getattr(self, name) != defaults[name]:
                option = f"--{name.removesuffix('_m').removesuffix('_s').replace('_', '-')}"
                raise UsageError(
                    f"{option} was given {'with' if self.scattered else 'without'} --scattered",
                    "a compact block: houses of one size in rows, with --aisle and --give" if self.scattered else
                    "scattered houses: mixed sizes, gaps at ends, a solver with a time limit",
                    f"leave {option} out{'' if self.scattered else ', or say --scattered'}",
                )  # fmt: skip
        if self.shade_from is None and self.shade_day is not None:
            raise UsageError("--shade-day without --shade-from", "both together", "say from which hour, as 10:00")
        self.shade  # noqa: B018 (what cannot be is refused here)

    @property
    def prices(self) -> Prices:
        """The unit prices that were given."""
        return self.price or Prices()

    @property
    def shade(self) -> ShadeRule | None:
        """When no house may shade the next one; None = no such rule. Errors: UsageError for an hour or day that cannot be."""
        if self.shade_from is None:
            return None
        from tunnelsite.plans.layout.scattered import ShadeRule

        found = re.fullmatch(r"(\d|0\d|1[01]):([0-5]\d)", self.shade_from, re.ASCII)
        if not found:
            raise UsageError(
                f"--shade-from is {self.shade_from!r}", "a solar time before noon as HH:MM, such as 10:00", "correct it"
            )
        declination = None if self.shade_day is None else _declination_deg(self.shade_day)
        return ShadeRule(12.0 - int(found[1]) - int(found[2]) / 60, declination, self.roof, self.eave_m)

    @property
    def compact_rules(self) -> BlockRules:
        """What a compact block has to keep."""
        from tunnelsite.plans.layout.compact_block import BlockRules

        return BlockRules(self.houses, self.gap_m, self.aisle_m, self.give)

    def scattered_rules(self, sizes: list[str]) -> LayoutRules:
        """What scattered houses have to keep. Arguments: sizes, names in the order of the screening's houses."""
        from tunnelsite.plans.layout.packing import LayoutRules

        end_gap_m = self.gap_m if self.end_gap_m is None else self.end_gap_m
        of_size = tuple(self.mix.get(name, self.houses) for name in sizes) if self.mix else ()
        return LayoutRules(self.houses, of_size, self.gap_m, end_gap_m, self.first, self.time_limit_s)

    def check(self, screening: Settings, services: Iterable[str]) -> None:
        """Whether it goes with a screening. Arguments: screening; services, names of those it has.

        Errors: UsageError for sizes given twice, or a mix or a price of what the screening does not have.
        """
        names = [house.name for house in screening.houses]
        if len(set(names)) < len(names):
            raise UsageError(f"the house sizes are {', '.join(names)}", "each size once", "leave the double one out")
        for name in self.mix:
            if name not in names:
                expected = f"SIZE=NUMBER with a size of --house: {', '.join(names)}"
                raise UsageError(f"--mix names {name!r}", expected, "correct it")
        self.prices.check_services(services)


def _size(text: str) -> tuple[str, str]:
    name, equals, count = text.partition("=")
    if not equals:
        raise UsageError(f"--mix is {text!r}", "SIZE=NUMBER with a size of --house", "correct it")
    return name, count


def _declination_deg(text: str) -> float:
    import numpy as np

    from tunnelsite.sun.position import declination_deg

    month, day = month_day(text, "--shade-day")
    noon = datetime.datetime(A_YEAR, month, day, 12, tzinfo=datetime.UTC)
    return float(declination_deg(np.array([noon.timestamp()]))[0])
