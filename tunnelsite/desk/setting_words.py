"""Settings and their values as a grower reads them: no key of a project file, no id of a criterion."""

from __future__ import annotations

import re
from functools import cache

from tunnelsite.core import catalogue
from tunnelsite.criteria.reach import reach
from tunnelsite.desk.sheet import season_words
from tunnelsite.report.plain_words import house_words
from tunnelsite.settings.field import fields_of
from tunnelsite.settings.model import Settings

_QUOTED = re.compile(r"`([a-z_]+)`")
PERIODS = ("crop_months", "bare_trees")
YES = {"True": "yes", "False": "no"}


def setting_title(name: str) -> str:
    """What a setting is called on the page.

    Arguments: name, its key or its name in Python; an entry of a table stands after a point, as in `weight.sun`.
    """
    table, _, entry = name.partition(".")
    if table in ("weight", "rubric") and entry:
        criterion, _, part = entry.partition(".")
        whose = f"{'Weight' if table == 'weight' else 'Marks'} of “{criterion_title(criterion)}”"
        return f"{whose} ({part.replace('_', ' ')})" if part else whose
    if table == "service" and entry:
        return f"Service: {entry}"
    return _titles().get(table, table.replace("_", " "))


def criterion_title(name: str) -> str:
    """What a criterion is called. Arguments: name, its id."""
    if name.startswith("reach_"):
        return reach(name.removeprefix("reach_")).description.title
    return _criteria().get(name, name.replace("_", " "))


def in_titles(words: str) -> str:
    """Words with the criteria that they name by an id in backticks called by their titles."""
    return _QUOTED.sub(lambda found: f"“{criterion_title(found[1])}”" if found[1] in _criteria() else found[0], words)


def setting_value(name: str, value: str) -> str:
    """A value of it in words; as it stands where it is words already. Arguments: name; value, a list joined by commas."""
    if name in PERIODS:
        return season_words(value)
    if name == "house":
        return ", ".join(house_words(size) for size in value.split(", "))
    return YES.get(value, value)


@cache
def _titles() -> dict[str, str]:
    return {name: field.words.title for field in fields_of(Settings) for name in (field.key, field.name)}


@cache
def _criteria() -> dict[str, str]:
    return {one.id: one.description.title for one in catalogue.criteria(lambda text: None)}
