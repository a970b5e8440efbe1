"""What the work at a placement costs, at the user's own unit prices."""

from __future__ import annotations

from collections.abc import Sequence
from typing import Any

from tunnelsite.core.errors import given_or, refuse_other
from tunnelsite.core.placement import Placement
from tunnelsite.core.plan_kind import TABLE, Content, PlanKind
from tunnelsite.core.process import Progress, silent
from tunnelsite.core.site import Site
from tunnelsite.core.table import Column, Table
from tunnelsite.plans.candidate import standing
from tunnelsite.plans.cost.quantities import Quantity, quantities
from tunnelsite.plans.cost.settings import CostSettings
from tunnelsite.plans.cost.words import cost_lines
from tunnelsite.plans.plan import Plan
from tunnelsite.settings.model import settings_from
from tunnelsite.settings.prices import Prices

STEM = "cost"
FILES = {"cost": ".csv", "summary": ".json"}
NO_PRICE = "no price given"
DIGITS = 6  # of a number in the table: no 3.2e-09 where nothing is moved
CAUTIONS = (
    "A cost table from elevation data and your own prices, not a quotation. The interval counts the error of the elevations in the "
    "earthwork and how much shorter a trench could be, and nothing else.",
    "Swales, level spreaders and drains are not counted: `tunnelsite grading` says whether a place needs them and what they dig.",
    "Trenches and the way in are the shortest on the map: depth, frost, crossings and clearances are for the utility, local codes and "
    "licensed practice. Have buried lines marked before any digging.",
)


def cost(
    site: Site,
    place: Placement | Sequence[Placement],
    settings: CostSettings | None = None,
    progress: Progress = silent,
) -> Plan:
    """What the work at one placement costs, or at several, one option after the other.

    Args:
        site: as read.
        place: a placement or several; their settings say the pad's slope and apron, and may hold prices.
        settings: unit prices, depths of topsoil and base.
        progress: called with (what is being done, share done 0..1).

    Returns:
        Plan with the table `cost`: a row per option and kind of work with quantity, interval, unit price and cost. What has no price
        has no cost, and what is not known has no quantity.

    Raises:
        UsageError: for prices of services that the site does not have.
        InputRefused: where the ground is not known.
    """
    asked = given_or(settings, CostSettings)
    places = list(place) if isinstance(place, Sequence) else [place]
    refuse_other(site, "site", Site)
    options: list[dict[str, Any]] = []
    notes: list[str] = []
    for number, one in enumerate(places):
        refuse_other(one, "place", Placement)
        progress("quantities", number / len(places))
        prices = asked.price or settings_from(dict(one.settings)).prices
        prices.check_services(site.services)
        found = standing(site, one)
        options.append(_option(one, quantities(found, asked), prices))
        notes += found.notes
    progress("quantities", 1.0)
    title = places[0].title if len(places) == 1 else f"{len(places)} options"
    notes = list(dict.fromkeys(notes))
    summary = {
        "title": title,
        "options": options,
        "interval": "90 % of the draws of the elevation error; trenches: no way can be shorter",
        "notes": notes,
    }
    return Plan(
        COST.id,
        title,
        summary | {"cautions": list(CAUTIONS)},
        sheets={"cost": _table(options)},
        notes=tuple(notes),
        cautions=CAUTIONS,
        stem=STEM,
        files=FILES,
    )


def _option(place: Placement, work: Sequence[Quantity], prices: Prices) -> dict[str, Any]:
    """One option: its rows and what they come to."""
    items = [_item(one, prices) for one in work]
    priced = [one for one in items if one["cost"] is not None]
    missing = [one["name"] for one in items if one["unit_price"] is None and one["quantity"] != 0.0]
    return {
        "title": place.title,
        "rank": place.rank,
        "lon": place.lon_deg,
        "lat": place.lat_deg,
        "feet": place.house.feet,
        "items": items,
        "total": sum(one["cost"] for one in priced) if priced else None,
        "total_low": sum(_or(one, "cost_low") for one in priced) if priced else None,
        "total_high": sum(_or(one, "cost_high") for one in priced) if priced else None,
        "without_price": missing,
        "not_known": [one["name"] for one in items if one["quantity"] is None],
    }


def _or(item: dict[str, Any], end: str) -> float:
    """An end of the interval; the cost itself where no interval is known."""
    return float(item["cost"] if item[end] is None else item[end])


def _item(one: Quantity, prices: Prices) -> dict[str, Any]:
    price = prices.of(one.name)

    def money(amount: float | None) -> float | None:
        return None if price is None or amount is None else amount * price.amount

    return {
        "name": one.name,
        "title": one.title,
        "quantity": one.amount,
        "low": one.low,
        "high": one.high,
        "unit": one.unit,
        "unit_price": None if price is None else price.amount,
        "price_given": NO_PRICE if price is None else price.given,
        "cost": money(one.amount),
        "cost_low": money(one.low),
        "cost_high": money(one.high),
        "note": one.note,
    }


COLUMNS = {
    "option": ("TEXT", "which placement", ""),
    "rank": ("INTEGER", "rank of the candidate; none for any other place", ""),
    "name": ("TEXT", "kind of work, by the name of its price", ""),
    "title": ("TEXT", "kind of work in words", ""),
    "quantity": ("REAL", "how much; none = not known", ""),
    "low": ("REAL", "lower end of its interval", ""),
    "high": ("REAL", "upper end of its interval", ""),
    "unit": ("TEXT", "unit of the quantity", ""),
    "in_words": ("TEXT", "quantity and interval in the units of the house", ""),
    "unit_price": ("REAL", "your price of one such unit; none = no price given", ""),
    "price_given": ("TEXT", "the price as you gave it", ""),
    "cost": ("REAL", "quantity times price; none where either is missing", ""),
    "cost_low": ("REAL", "lower end of its interval", ""),
    "cost_high": ("REAL", "upper end of its interval", ""),
    "note": ("TEXT", "what is counted, or why it is not known", ""),
}


def _shown(cell: Any) -> Any:
    return round(cell, DIGITS) + 0.0 if isinstance(cell, float) else cell


def _table(options: Sequence[dict[str, Any]]) -> Table:
    rows = [
        {"option": one["title"], "rank": one["rank"], "in_words": line.quantity} | item
        for one in options
        for item, line in zip(one["items"], cost_lines(one), strict=True)
    ]
    columns = {name: Column([_shown(row[name]) for row in rows], *about) for name, about in COLUMNS.items()}
    return Table(columns, title="What the work costs at your own unit prices")


COST = PlanKind(
    id="cost",
    title="Cost table",
    text="Quantities of earthwork, topsoil, base, clearing and of the ways to services, each with its interval, and what they cost at your "
    "own unit prices.",
    source="common practice, no source",
    settings=CostSettings,
    make=cost,
    gives=(Content("cost", TABLE, "a row per kind of work: quantity, interval, your price, cost"),),
    reads=("surface", "obstacles", "structures", "keep_out", "service"),
    follows=("apron", "pad_pitch", "shrink", "elevation_error", "error_range", "setback", "clearance"),
)
