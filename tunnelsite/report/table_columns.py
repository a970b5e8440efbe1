"""Columns of the ranking's table and rows of the options side by side: what is sorted by, and what is shown."""

from __future__ import annotations

from collections.abc import Callable
from dataclasses import dataclass
from typing import TYPE_CHECKING, Any

from tunnelsite.core import amounts
from tunnelsite.core.ridge_words import ridge_words
from tunnelsite.core.units import FOOT_M
from tunnelsite.drawing.markup import plain_name
from tunnelsite.report.card_facts import Facts
from tunnelsite.report.plain_words import house_words

if TYPE_CHECKING:
    from tunnelsite.screening.result import Result

NUMBER, WORDS = "number", "words"


@dataclass(frozen=True)
class RankingColumn:
    """One column. key; title; explained, what it is; kind, `number` or `words`; value, what is sorted by (None = not assessed);
    shown, the words of a value; unit of what is shown; both, its words in both systems of units, None = as shown."""

    key: str
    title: str
    explained: str
    kind: str
    value: Callable[[Facts], Any]
    shown: Callable[[Any], str] = str
    unit: str = ""
    both: Callable[[Any], str] | None = None

    def cell(self, fact: Facts) -> tuple[object, str]:
        """(what is sorted by, what is shown)."""
        value = self.value(fact)
        if value is None:
            return "", "–"
        return (plain_name(value) if self.kind == WORDS else repr(float(value))), self.shown(value)

    @property
    def heading(self) -> str:
        """Title and unit."""
        return f"{self.title} {self.unit}".strip()

    def words(self, fact: Facts) -> str:
        """What is shown, with its unit, in both systems."""
        value = self.value(fact)
        if value is None:
            return "not assessed"
        return self.both(value) if self.both else f"{self.shown(value)} {self.unit}".strip()


def _of(name: str) -> Callable[[Facts], Any]:
    return lambda fact: fact.row.get(name)


def columns_of(result: Result, *, client: bool) -> list[RankingColumn]:
    """The columns of a run: those that tell its candidates apart."""
    feet = result.scans[0].house.feet
    found = [*_first_columns(client=client), _distance("room", "Room", _ROOM, "room_m", feet)]
    found.append(RankingColumn("parcel", "Parcel", "parcel that holds the pad", WORDS, _of("parcel")))
    if len({scan.house.name for scan in result.scans}) > 1:
        found.append(RankingColumn("house", "House", "size of the house", WORDS, _of("house"), house_words))
    if len(result.settings.bearings) > 1:
        title = "bearing of the ridge from true north"
        found.append(
            RankingColumn(
                "bearing", "Ridge", title, NUMBER, _of("bearing_deg"), lambda value: f"{value:.0f}", "°", ridge_words
            )
        )
    found += _ground_columns(feet)
    if not client:
        land, unit = (lambda v: f"{v / amounts.ACRE_M2:.2f}", "acre") if feet else (lambda v: f"{v:,.0f}", "m²")
        words = "land whose rain makes the largest run of water through the pad"
        found.append(RankingColumn("water", "Uphill", words, NUMBER, _of("upslope_m2"), land, unit))
    for name in result.site.services:
        words = f"straight distance to {name}"
        found.append(_distance(f"reach_{name}", name.capitalize()[:18], words, f"reach_{name}_m", feet))
    return found


_ROOM = "room to move any way and keep 95 % of its score"


def _distance(key: str, title: str, explained: str, column: str, feet: bool) -> RankingColumn:
    unit_m, unit = (FOOT_M, "ft") if feet else (1.0, "m")
    return RankingColumn(
        key, title, explained, NUMBER, _of(column), lambda value: f"{value / unit_m:,.0f}", unit,
        lambda value: amounts.away(value, feet=feet),
    )  # fmt: skip


def _ground_columns(feet: bool) -> list[RankingColumn]:
    """Slope, earth and sun."""
    earth, earth_unit = (lambda v: f"{v / amounts.YARD3_M3:.1f}", "yd³") if feet else (lambda v: f"{v:.1f}", "m³")
    deep, deep_unit = (lambda v: f"{amounts.inches(v):.1f}", "in") if feet else (lambda v: f"{100 * v:.0f}", "cm")
    return [
        RankingColumn("pitch", "Slope", "the steeper slope of the natural ground", NUMBER, _pitch, lambda v: f"{v:.2f}", "%"),
        RankingColumn("cut", "Cut", "earth to cut on the pad", NUMBER, _of("cut_m3"), earth, earth_unit,
               lambda v: amounts.volume(v, feet=feet)),
        RankingColumn("deep", "Deepest cut", "deepest cut on the pad", NUMBER, _of("max_cut_m"), deep, deep_unit,
               lambda v: amounts.depth(v, feet=feet)),
        RankingColumn("sun", "Sun", "direct sun received in the darkest crop month", NUMBER, _of("beam_share_worst"),
               lambda v: f"{100 * v:.0f}", "%"),
    ]  # fmt: skip


def _first_columns(*, client: bool) -> list[RankingColumn]:
    """Rank, score, and how much of it is known."""
    known = "share of the weight that was assessed"
    found = [RankingColumn("rank", "Rank", "rank in the screening, 1 = best", NUMBER, lambda fact: fact.rank)]
    if not client:
        title = "rank among these options with the weights set below"
        found.append(RankingColumn("now", "Now", title, NUMBER, lambda fact: fact.rank))
    return [
        *found,
        RankingColumn("score", "Score", "score, 0 to 100", NUMBER, _of("score"), lambda value: f"{value:.1f}"),
        RankingColumn("assessed", "Known", known, NUMBER, _of("assessed_pct"), lambda value: f"{value:.0f}", "%"),
    ]


def _pitch(fact: Facts) -> float | None:
    along, across = fact.row["pitch_along_pct"], fact.row["pitch_across_pct"]
    return None if along is None else max(abs(along), abs(across))
