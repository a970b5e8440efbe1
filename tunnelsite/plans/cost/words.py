"""A cost table in words: quantities in the user's own units, money as it comes out."""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass
from typing import Any

from tunnelsite.core.units import FOOT_M
from tunnelsite.core.wording import inside
from tunnelsite.settings.prices import YARD_M

# unit of the table: the unit that people who work in feet use, and how much of the table's unit it is
_FEET = {"m": ("ft", FOOT_M), "m2": ("sq ft", FOOT_M**2), "m3": ("yd³", YARD_M**3)}
_METRES = {"m": "m", "m2": "m²", "m3": "m³"}


@dataclass(frozen=True)
class CostLine:
    """One kind of work in words. Attributes: title; quantity; price, as given; cost, '' where there is none; note."""

    title: str
    quantity: str
    price: str
    cost: str
    note: str


def cost_lines(option: Mapping[str, Any]) -> list[CostLine]:
    """The rows of one option of a cost plan's summary, quantities in feet and yards where its house is given in feet."""
    return [_line(item, bool(option["feet"])) for item in option["items"]]


def total_words(option: Mapping[str, Any]) -> str:
    """What an option comes to with its interval; '' where no price was given."""
    return "" if option["total"] is None else _interval(option["total"], option["total_low"], option["total_high"])


def unknown_words(option: Mapping[str, Any]) -> str:
    """That the sum leaves out what has a price but no known quantity; '' where nothing is left out."""
    names = [inside(item["title"]) for item in option["items"] if item["quantity"] is None and item["unit_price"]]
    return f"not known and so not in the sum: {', '.join(names)}" if names else ""


def _line(item: Mapping[str, Any], feet: bool) -> CostLine:
    price = str(item["price_given"])
    if item["quantity"] is None:
        return CostLine(str(item["title"]), "not known", price, "", str(item["note"]))
    unit, size = _FEET[item["unit"]] if feet else (_METRES[item["unit"]], 1.0)
    amount, low, high = (None if item[name] is None else item[name] / size for name in ("quantity", "low", "high"))
    cost = "" if item["cost"] is None else _interval(item["cost"], item["cost_low"], item["cost_high"])
    return CostLine(str(item["title"]), _interval(amount, low, high, unit), price, cost, str(item["note"]))


def _interval(amount: float | None, low: float | None, high: float | None, unit: str = "") -> str:
    after = f" {unit}" if unit else ""
    known = [end for end in (low, high) if end is not None and round(end) != round(amount or 0.0)]
    if not known:
        return f"{amount:,.0f}{after}"
    if low is None or high is None:
        return f"{amount:,.0f}{after} ({'at least' if high is None else 'at most'} {known[0]:,.0f})"
    return f"{amount:,.0f}{after} ({low:,.0f} to {high:,.0f})"
