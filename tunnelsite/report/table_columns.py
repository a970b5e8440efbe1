"""Columns of the ranking's table: what is sorted by, and what is shown."""

from __future__ import annotations

from collections.abc import Callable
from dataclasses import dataclass
from typing import TYPE_CHECKING, Any

from tunnelsite.core import amounts
from tunnelsite.core.units import FOOT_M
from tunnelsite.drawing.markup import plain_name
from tunnelsite.report.card_facts import Facts

if TYPE_CHECKING:
    from tunnelsite.screening.result import Result

NUMBER, WORDS = "number", "words"


@dataclass(frozen=True)
class Column:
    """One column. key; title; explained, what it is; kind, `number` or `words`; value, what is sorted by (None = not assessed);
    shown, the words of a value."""

    key: str
    title: str
    explained: str
    kind: str
    value: Callable[[Facts], Any]
    shown: Callable[[Any], str] = str

    def cell(self, fact: Facts) -> tuple[object, str]:
        """(what is sorted by, what is shown)."""
        value = self.value(fact)
        if value is None:
            return "", "–"
        return (plain_name(value) if self.kind == WORDS else repr(float(value))), self.shown(value)


def _of(name: str) -> Callable[[Facts], Any]:
    return lambda fact: fact.row.get(name)


def columns_of(result: Result, *, client: bool) -> list[Column]:
    """The columns of a run: those that tell its candidates apart."""
    feet = result.scans[0].house.feet
    away, long_unit = (lambda value: f"{value / FOOT_M:,.0f}", "ft") if feet else (lambda value: f"{value:,.0f}", "m")
    earth, earth_unit = (lambda v: f"{v / amounts.YARD3_M3:.1f}", "yd³") if feet else (lambda v: f"{v:.1f}", "m³")
    deep, deep_unit = (lambda v: f"{amounts.inches(v):.1f}", "in") if feet else (lambda v: f"{100 * v:.0f}", "cm")
    found = _first_columns(client=client, room=(f"Room {long_unit}", away))
    found.append(Column("parcel", "Parcel", "parcel that holds the pad", WORDS, _of("parcel")))
    if len({scan.house.name for scan in result.scans}) > 1:
        found.append(Column("house", "House", "size as given", WORDS, _of("house")))
    if len(result.settings.bearings) > 1:
        title = "bearing of the ridge from true north"
        found.append(Column("bearing", "Ridge °", title, NUMBER, _of("bearing_deg"), lambda value: f"{value:.0f}"))
    found += [
        Column(
            "pitch", "Slope %", "the steeper slope of the natural ground", NUMBER, _pitch, lambda value: f"{value:.2f}"
        ),
        Column("cut", f"Cut {earth_unit}", "earth to cut on the pad", NUMBER, _of("cut_m3"), earth),
        Column("deep", f"Deepest cut {deep_unit}", "deepest cut on the pad", NUMBER, _of("max_cut_m"), deep),
        Column(
            "sun",
            "Sun %",
            "direct sun of the darkest crop month that reaches it",
            NUMBER,
            _of("beam_share_worst"),
            lambda v: f"{100 * v:.0f}",
        ),
    ]
    if not client:
        land, land_unit = (lambda v: f"{v / amounts.ACRE_M2:.2f}", "acre") if feet else (lambda v: f"{v:,.0f}", "m²")
        found.append(
            Column("water", f"Uphill {land_unit}", "land whose water crosses the pad", NUMBER, _of("upslope_m2"), land)
        )
    for name in result.site.services:
        words = f"straight distance to {name}"
        found.append(
            Column(
                f"reach_{name}", f"{name.capitalize()[:18]} {long_unit}", words, NUMBER, _of(f"reach_{name}_m"), away
            )
        )
    return found


def _first_columns(*, client: bool, room: tuple[str, Callable[[Any], str]]) -> list[Column]:
    """Rank, score, and how much of it is known and how firm it stands. Arguments: client; room, title and words of its column."""
    known, moves = "share of the weight that was assessed", "how far it can move any way and keep 95 % of its score"
    found = [Column("rank", "Rank", "rank in the screening, 1 = best", NUMBER, lambda fact: fact.rank)]
    if not client:
        title = "rank among these options with the weights set below"
        found.append(Column("now", "Now", title, NUMBER, lambda fact: fact.rank))
    return [
        *found,
        Column("score", "Score", "steady score, 0 to 100", NUMBER, _of("score"), lambda value: f"{value:.1f}"),
        Column("assessed", "Known %", known, NUMBER, _of("assessed_pct"), lambda value: f"{value:.0f}"),
        Column("room", room[0], moves, NUMBER, _of("room_m"), room[1]),
    ]


def _pitch(fact: Facts) -> float | None:
    along, across = fact.row["pitch_along_pct"], fact.row["pitch_across_pct"]
    return None if along is None else max(abs(along), abs(across))
