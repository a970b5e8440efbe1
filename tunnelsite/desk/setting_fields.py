"""The settings of a screening as the page shows them, and what each criterion counts."""

from __future__ import annotations

from collections.abc import Mapping
from typing import Any

from tunnelsite.core import catalogue
from tunnelsite.criteria.reach import reach
from tunnelsite.desk.measures import Units
from tunnelsite.desk.messages import FieldEntry, PresetEntry, WeightEntry
from tunnelsite.desk.page_words import heading_of, on_the_page
from tunnelsite.desk.setting_words import in_titles
from tunnelsite.settings.field import Field, fields_of
from tunnelsite.settings.kinds import Choice, Length
from tunnelsite.settings.model import Settings
from tunnelsite.settings.presets import presets

KINDS = {"Length": "length", "Angle": "angle", "Turn": "angle", "Number": "number", "Share": "number", "Slope": "number",
         "Whole": "integer", "Choice": "choice", "Flag": "flag", "Several": "texts", "Text": "text"}  # fmt: skip
OWN_KINDS = {"house": "houses", "crop_months": "months", "bare_trees": "months"}
GROUPS = {
    "light": ("sun", "season_sun", "noon", "night_light"),
    "water": (
        "drainage",
        "ponding",
        "drainage_height",
        "drainage_distance",
        "flow_beside",
        "water_like",
        "river_bed",
        "soils",
        "soil_groups",
    ),
    "ground": ("pitch", "roughness", "crown", "deepest_cut", "earthwork", "raised", "standing"),
    "air": ("wind", "hilltop", "cold_air", "low_ground", "windbreak"),
}


def field_entries(raw: Mapping[str, Any], units: Units) -> list[FieldEntry]:
    """Every setting that a form can hold. Arguments: raw, the project's settings as written; units, of lengths in words."""
    return [_entry(field, raw, units) for field in fields_of(Settings) if heading_of(field)]


def _entry(field: Field, raw: Mapping[str, Any], units: Units) -> FieldEntry:
    given = field.key in raw
    choices = list(field.words.choices) if isinstance(field.words, Choice) else None
    return FieldEntry(
        name=field.key,
        title=field.words.title,
        help=on_the_page(field.words.help),
        section=field.words.section,
        heading=heading_of(field),
        kind=OWN_KINDS.get(field.key) or KINDS.get(type(field.words).__name__, "text"),
        unit=field.words.unit,
        choices=choices,
        default=field.default,
        value=raw.get(field.key, field.default),
        given=given,
        words=_words(field, raw, units),
    )


def _words(field: Field, raw: Mapping[str, Any], units: Units) -> str:
    """The value as people read it: lengths in their own unit, unless they wrote the unit themselves."""
    value = raw.get(field.key, field.default)
    length = isinstance(field.words, Length)
    if field.key in raw and (isinstance(value, str) or not length):
        return str(value)
    if length and value is not None and (field.key in raw or not field.words.without):
        return units.plain(float(value))
    return field.default_words


def preset_entries() -> list[PresetEntry]:
    """Every preset."""
    return [PresetEntry(name=name, title=preset.title) for name, preset in presets().items()]


def weight_entries(settings: Settings) -> list[WeightEntry]:
    """What each criterion counts, with its usual weight; the weightiest first."""
    found = [*catalogue.criteria(lambda text: None), *(reach(name) for name in settings.service)]
    entries = []
    for criterion in found:
        usual = criterion.rubric(settings.kind)
        weight = settings.rubric_for(criterion.id, usual).weight
        group = next((name for name, ids in GROUPS.items() if criterion.id in ids), "")
        if criterion.id.startswith("reach_"):
            group = "reach"
        about = criterion.description
        told = in_titles(on_the_page(about.text))
        entries.append(WeightEntry(id=criterion.id, title=about.title, help=told, weight=weight, default=usual.weight,
                                   group=group or "other"))  # fmt: skip
    return sorted(entries, key=lambda one: -one.default)
