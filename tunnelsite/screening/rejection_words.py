"""Rules, their limits and what they rejected in the trade's words: one wording for every list of rejections."""

from __future__ import annotations

from collections.abc import Callable, Mapping
from dataclasses import dataclass
from typing import TYPE_CHECKING, Any

from tunnelsite.core import amounts, catalogue
from tunnelsite.core.wording import inside
from tunnelsite.scan.outcomes import SOME_LIMIT

if TYPE_CHECKING:
    from tunnelsite.screening.result import Result

# Rules that are no criterion and no file.
RULES = {
    "boundary": "edge of the parcel or setback",
    "structures": "structures and their clearance",
    "obstacles": "drawn trees, hedges and buildings",
    "no_data": "no heights under the pad",
    SOME_LIMIT: "a limit (which one is not kept)",
}


def rule_words(rule: str, titles: Mapping[str, str]) -> str:
    """A rule as a name. Arguments: rule, its id; titles of the criteria by id."""
    if rule.startswith("keep_out:"):
        return rule.partition(":")[2]
    return RULES.get(rule) or titles.get(rule, rule)


@dataclass(frozen=True)
class MeasureStyle:
    """How measures of a criterion are written: unit; words, of its classes and shares, None = a number; feet."""

    unit: str | None = None
    words: Callable[[float], str] | None = None
    feet: bool = False

    def value(self, value: float | None) -> str:
        """A measure; empty where there is none, or where it says no more than yes or no."""
        if value is None or self.words is amounts.yes_or_no:
            return ""
        return self.words(value) if self.words else amounts.in_unit(value, self.unit, feet=self.feet, figures=",.4g")


def measure_styles(result: Result) -> dict[str, MeasureStyle]:
    """How measures are written, by criterion. A kept run does not hold their words: those built in are known all the same."""
    known = {one.id: one.words for one in catalogue.criteria(lambda text: None)}
    feet = result.scans[0].house.feet
    return {
        judge.id: MeasureStyle(judge.criterion.description.unit, judge.criterion.words or known.get(judge.id), feet)
        for judge in result.judges
    }


def rejection_words(row: Mapping[str, Any], styles: Mapping[str, MeasureStyle]) -> str:
    """Why a rule rejected, with its limit and how near the nearest came. Arguments: row of the table `rejections`; styles by criterion."""
    style = styles.get(row["rule"])
    if style is None:  # an edge, or something to keep clear of
        return str(row["reason"])
    limit, nearest = (style.value(row.get(name)) for name in ("limit_value", "nearest_miss"))
    parts = [f"limit {limit}"] if limit else []
    if nearest:
        parts.append("the nearest just beyond it" if nearest == limit else f"the nearest {nearest}")
    return inside(str(row["reason"])) + (f" ({', '.join(parts)})" if parts else "")
