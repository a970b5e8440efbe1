"""The settings of a run as a reader of the report sees them: by their titles, rounded, in the user's own units."""

from __future__ import annotations

from collections.abc import Mapping
from typing import TYPE_CHECKING, Any, NamedTuple

from tunnelsite.core import amounts, catalogue
from tunnelsite.core.criterion import Criterion
from tunnelsite.core.describe import Parameter
from tunnelsite.core.ridge_words import ridge_words
from tunnelsite.report.plain_words import house_words
from tunnelsite.screening.run_table import FILE_SETTINGS, setting_rows
from tunnelsite.settings.field import Field, fields_of
from tunnelsite.settings.kinds import Angle, Length, Share, Turn
from tunnelsite.settings.model import Settings, period_words

if TYPE_CHECKING:
    from tunnelsite.screening.result import Result

PARTS = {
    "full_at": "full marks at",
    "none_at": "no marks at",
    "limit": "rejects beyond",
    "weight": "weight",
    "source": "source",
}
SEASONS = ("crop_months", "bare_trees")


class ShownSetting(NamedTuple):
    """One setting: its title and its value in words."""

    title: str
    words: str


def shown_settings(result: Result) -> list[ShownSetting]:
    """Every setting that says something, in the order in which settings are described."""
    feet = result.scans[0].house.feet
    told = {row["name"]: row["value"] for row in setting_rows(result.settings)}
    criteria = {one.id: one for one in (*catalogue.criteria(lambda text: None), *(j.criterion for j in result.judges))}
    found = []
    for field in fields_of(Settings):
        value = getattr(result.settings, field.name)
        if field.name in told and value is not False:
            words = _by_criterion(value, criteria, feet) if isinstance(value, dict) else _words(field, value, feet)
            found.append(ShownSetting(field.words.title, words or told[field.name]))
    return found


def _words(field: Field, value: Any, feet: bool) -> str:
    """A setting in words; "" where its text in the run table is what a reader wants."""
    kind = field.words
    if field.name == "bearing_deg":
        return ridge_words(value)
    if field.name == "house":
        return "; ".join(map(house_words, value))
    if field.name in SEASONS and value != "never":
        return period_words(value)
    if isinstance(kind, Length):
        return amounts.measured(value, "m", feet=feet)
    if isinstance(kind, Angle | Turn):
        return f"{value:g}°"
    if isinstance(kind, Share):
        return amounts.percent(value)
    return "" if field.name in FILE_SETTINGS or isinstance(value, str | list) else kind.shown(value)


def _by_criterion(values: Mapping[str, Any], criteria: Mapping[str, Criterion], feet: bool) -> str:
    """What is set for criteria, by their titles: weights, marks and parameters; "" for what is by another name, as services are."""
    if not values or not all(isinstance(value, float | Mapping) for value in values.values()):
        return ""
    lines = []
    for name, value in values.items():
        about = criteria[name].description if name in criteria else None
        title = name if about is None else about.title
        if isinstance(value, float):
            lines.append(f"{title} {value:g}")
            continue
        known = {} if about is None else {one.id: one for one in about.parameters}
        unit = None if about is None else about.unit
        parts = [_part(key, one, known.get(key), unit, feet) for key, one in value.items()]
        lines.append(f"{title}: {', '.join(parts)}")
    return "; ".join(lines)


def _part(name: str, value: Any, parameter: Parameter | None, unit: str | None, feet: bool) -> str:
    """One part of a rubric, or one parameter. Arguments: name; value; parameter, None = a part of the rubric; unit of the measure."""
    title, unit = (PARTS.get(name, name), unit) if parameter is None else (parameter.title, parameter.unit)
    number = isinstance(value, int | float) and not isinstance(value, bool)
    words = amounts.measured(value, None if name == "weight" else unit, feet=feet) if number else str(value)
    return f"{title} {words}"
