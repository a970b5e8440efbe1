"""What `layout` is asked for: a compact block or scattered houses, gaps, shade, prices."""

from __future__ import annotations

import argparse
import re
from dataclasses import dataclass
from typing import TYPE_CHECKING

from tunnelsite.core.errors import UsageError
from tunnelsite.core.units import FOOT_M, length_m, month_day, number, whole_number

if TYPE_CHECKING:
    from tunnelsite.plans.layout.compact_block import BlockRules
    from tunnelsite.plans.layout.packing import LayoutRules
    from tunnelsite.plans.layout.scattered import Block, ShadeRule
    from tunnelsite.screening.result import Result
    from tunnelsite.settings.model import Settings

FOR_SCATTERED = ("mix", "end_gap", "time_limit", "first")
FOR_COMPACT = ("aisle", "give")


@dataclass(frozen=True)
class LayoutAsked:
    """rules of a compact block, or of scattered houses; shade, or None; prices of a metre of trench, by service."""

    rules: BlockRules | LayoutRules
    shade: ShadeRule | None
    prices: dict[str, float]
    scattered: bool

    def block(self, result: Result, parcels) -> Block:
        """The best block of a screening."""
        if self.scattered:
            from tunnelsite.plans.layout.scattered import best_block

            return best_block(result, self.rules, self.shade, parcels)
        from tunnelsite.plans.layout.compact import compact_block

        return compact_block(result, self.rules, self.shade, parcels, self.prices)


def layout_asked(given: argparse.Namespace, settings: Settings) -> LayoutAsked:
    """Everything that was asked for. Errors: UsageError."""
    if given.houses is None:
        raise UsageError("--houses is missing", "how many houses at most", "say --houses 4")
    if not 1 <= given.houses <= 1000:
        raise UsageError(f"--houses is {given.houses}", "1 to 1000", "correct it")
    names = [house.name for house in settings.houses]
    if len(set(names)) < len(names):
        raise UsageError(f"the house sizes are {', '.join(names)}", "each size once", "leave the double one out")
    for name in FOR_COMPACT if given.scattered else FOR_SCATTERED:
        if getattr(given, name) is not None:
            option = f"--{name.replace('_', '-')}"
            raise UsageError(
                f"{option} was given {'with' if given.scattered else 'without'} --scattered",
                "a compact block: houses of one size in rows, with --aisle and --give" if given.scattered else
                "scattered houses: mixed sizes, gaps at ends, a solver with a time limit",
                f"leave {option} out{'' if given.scattered else ', or say --scattered'}",
            )  # fmt: skip
    rules = _scattered(given, names) if given.scattered else _compact(given)
    return LayoutAsked(rules, _shade(given), _prices(given, settings), given.scattered)


def gap_m(given: argparse.Namespace) -> float:
    """Clear between long sides [m]."""
    from tunnelsite.plans.layout.packing import SIDE_GAP_M

    return SIDE_GAP_M if given.gap is None else length_m(given.gap, "--gap", most_m=900.0)


def _compact(given: argparse.Namespace) -> BlockRules:
    from tunnelsite.plans.layout.compact_block import AISLE_M, GIVE_POINTS, BlockRules

    aisle = AISLE_M if given.aisle is None else length_m(given.aisle, "--aisle", most_m=900.0)
    give = GIVE_POINTS if given.give is None else number(given.give, "--give")
    return BlockRules(given.houses, gap_m(given), aisle, give)


def _scattered(given: argparse.Namespace, names: list[str]) -> LayoutRules:
    from tunnelsite.plans.layout.packing import LayoutRules

    counts = dict.fromkeys(names, given.houses)
    for text in given.mix or []:
        name, equals, count = text.partition("=")
        if not equals or name not in counts:
            raise UsageError(
                f"--mix is {text!r}", f"SIZE=NUMBER with a size of --house: {', '.join(names)}", "correct it"
            )
        counts[name] = whole_number(count, f"--mix {name}", 0, 1000)
    gap = gap_m(given)
    end_gap = gap if given.end_gap is None else length_m(given.end_gap, "--end-gap", most_m=900.0)
    limit = 60.0 if given.time_limit is None else number(given.time_limit, "--time-limit")
    of_size = tuple(counts.values()) if given.mix else ()
    return LayoutRules(given.houses, of_size, gap, end_gap, given.first or "score", limit)


def _shade(given: argparse.Namespace) -> ShadeRule | None:
    from tunnelsite.plans.layout.scattered import ShadeRule

    eave = 0.0 if given.eave is None else length_m(given.eave, "--eave", most_m=30.0)
    if given.shade_from is None:
        if given.shade_day is not None:
            raise UsageError("--shade-day without --shade-from", "both together", "say from which hour, as 10:00")
        return None
    found = re.fullmatch(r"(\d|0\d|1[01]):([0-5]\d)", given.shade_from, re.ASCII)
    if not found:
        raise UsageError(
            f"--shade-from is {given.shade_from!r}", "a solar time before noon as HH:MM, such as 10:00", "correct it"
        )
    declination = None if given.shade_day is None else _declination_deg(given.shade_day)
    return ShadeRule(12.0 - int(found[1]) - int(found[2]) / 60, declination, given.roof, eave)


def _declination_deg(text: str) -> float:
    from datetime import UTC, datetime

    from tunnelsite.sun.position import declination_deg

    month, day = month_day(text, "--shade-day")
    noon = datetime(2027, month, day, 12, tzinfo=UTC)  # the year matters by 0.2 deg at most
    return float(declination_deg([noon.timestamp()])[0])


def _prices(given: argparse.Namespace, settings: Settings) -> dict[str, float]:
    """The user's price of a metre of trench, by service. Errors: UsageError."""
    found = {}
    for text in given.price or []:
        name, equals, amount = text.partition("=")
        price, slash, unit = amount.rpartition("/")
        if not equals or not slash or unit not in ("m", "ft"):
            raise UsageError(f"--price is {text!r}", "SERVICE=AMOUNT/m, such as water=12/m or water=4/ft", "correct it")
        if name not in settings.service:
            known = ", ".join(settings.service) or "none"
            raise UsageError(f"--price is for {name!r}", f"a service of the run ({known})", "name it with --service")
        found[name] = number(price, "--price") / (FOOT_M if unit == "ft" else 1.0)
        if not found[name] > 0:
            raise UsageError(f"--price is {text!r}", "a price above 0", "correct it")
    return found
