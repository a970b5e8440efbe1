"""Which limits rejected most, counted once for the page and for the command line."""

from __future__ import annotations

from collections.abc import Iterable, Mapping
from dataclasses import dataclass
from typing import Any


@dataclass(frozen=True)
class CostlyLimit:
    """The limit of a criterion: rule, its id; title; limit, in unit; rejected, of the `tried` placements that came to it."""

    rule: str
    title: str
    limit: float
    unit: str
    rejected: int
    tried: int


def costly_limits(rows: Iterable[Mapping[str, Any]]) -> list[CostlyLimit]:
    """The limits that rejected any placement, over all parcels, houses and bearings, the costliest first.

    Arguments: rows of the table `rejections`; those without a limit are of an edge or of something to keep clear of.
    """
    found: dict[str, CostlyLimit] = {}
    for row in rows:
        if row.get("limit_value") is None:
            continue
        rule = row["rule"]
        rejected, tried = (
            row[name] + (getattr(found[rule], name) if rule in found else 0) for name in ("rejected", "tried")
        )
        found[rule] = CostlyLimit(rule, row["reason"], row["limit_value"], row["unit"], rejected, tried)
    return sorted((one for one in found.values() if one.rejected), key=lambda one: -one.rejected)
