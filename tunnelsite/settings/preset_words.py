"""What presets did to the settings of a run: which of theirs are in force, and which were overridden."""

from __future__ import annotations

from collections.abc import Iterator, Mapping
from typing import Any

from tunnelsite.settings.model import Settings
from tunnelsite.settings.presets import TABLES, presets


def preset_notes(settings: Settings) -> list[str]:
    """A sentence on each preset of the settings, in their order."""
    if not settings.preset:
        return []
    known, now = presets(), settings.model_dump(by_alias=True, mode="json")
    return [_words(name, known[name].settings, now) for name in settings.preset]


def _words(name: str, its: Mapping[str, Any], now: Mapping[str, Any]) -> str:
    alone = Settings(**its).model_dump(by_alias=True, mode="json")  # in the words and units of the settings
    in_force, overridden = [], []
    for key, entry in _settings_of(its):
        wanted, found = (_value(values, key, entry) for values in (alone, now))
        said = f"{key.replace('_', ' ')}{f' of {entry}' if entry else ''}"
        if wanted == found:
            in_force.append(f"{said} {_shown(wanted)}")
        else:
            overridden.append(f"{said} ({_shown(found)} instead of {_shown(wanted)})")
    words = f"preset {name}: in force: {', '.join(in_force)}" if in_force else f"preset {name} changes nothing"
    return f"{words}; overridden by what else was given: {', '.join(overridden)}" if overridden else words


def _settings_of(its: Mapping[str, Any]) -> Iterator[tuple[str, str]]:
    """(setting, entry of it where it is a table) of everything a preset sets."""
    for key, value in its.items():
        yield from ((key, entry) for entry in value) if key in TABLES else ((key, ""),)


def _value(values: Mapping[str, Any], key: str, entry: str) -> Any:
    return values[key].get(entry) if entry else values[key]


def _shown(value: Any) -> str:
    if isinstance(value, Mapping):
        return " and ".join(f"{name} {_shown(item)}" for name, item in value.items() if name != "source")
    return "none" if value is None else f"{value:g}" if isinstance(value, float) else str(value)
