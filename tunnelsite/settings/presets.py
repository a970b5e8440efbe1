"""Presets: settings kept under a name in `presets.toml`, for a season or a crop. Data, not code."""

from __future__ import annotations

import tomllib
from collections.abc import Mapping
from dataclasses import dataclass
from importlib.resources import files
from typing import Any

from tunnelsite.core.describe import nearest
from tunnelsite.core.errors import UsageError

TABLES = ("weight", "rubric", "parameter", "service")  # their entries are merged one by one


@dataclass(frozen=True)
class Preset:
    """Settings under a name: `title`, a few words; `source`, keys of `sources.toml`; `settings`, as in a project file."""

    name: str
    title: str
    source: str
    settings: dict[str, Any]


def presets() -> dict[str, Preset]:
    """Every preset by name, in the order of the file."""
    found = tomllib.loads(files("tunnelsite.settings").joinpath("presets.toml").read_text("utf-8"))
    return {name: Preset(name, **entry) for name, entry in found.items()}


def preset_names(value: Any) -> list[str]:
    """Names from a list, or from words separated by commas. Errors: UsageError for a name that is not there."""
    names = value if isinstance(value, list | tuple) else str(value).split(",")
    names = [str(name).strip() for name in names if str(name).strip()]
    known = presets() if names else {}
    for name in names:
        if name not in known:
            raise UsageError(f"there is no preset {name!r}", ", ".join(known), nearest(name, known))
    return names


def with_presets(given: Mapping[str, Any]) -> dict[str, Any]:
    """Settings with those of the presets they name; a later preset wins over an earlier one, and what is given over both.

    Arguments: given, settings by name as in a project file. Errors: UsageError for a name that is not there.
    """
    if not given.get("preset"):
        return dict(given)
    known = presets()
    base: dict[str, Any] = {}
    for name in preset_names(given["preset"]):
        base = _over(base, known[name].settings)
    return _over(base, given)


def _over(base: Mapping[str, Any], top: Mapping[str, Any]) -> dict[str, Any]:
    found = dict(base)
    for name, value in top.items():
        if name in TABLES and isinstance(value, Mapping):
            old = found.get(name, {})
            found[name] = {
                **old,
                **{k: {**old.get(k, {}), **v} if isinstance(v, Mapping) else v for k, v in value.items()},
            }
        else:
            found[name] = value
    return found
