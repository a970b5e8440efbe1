"""Optional inputs that criteria need: whether they were given, and what is said of a criterion that has to be left out."""

from __future__ import annotations

from collections.abc import Callable

from tunnelsite.core.errors import UsageError
from tunnelsite.core.site import Site
from tunnelsite.scan.soils import has_groups
from tunnelsite.settings.model import Settings
from tunnelsite.settings.presets import with_presets


def left_out(criterion_id: str, unmet: list[str], settings: Settings, report: Callable[[str], None]) -> None:
    """A criterion whose inputs are missing: an error where the project weighs it, words where a preset does."""
    weight = settings.weight.get(criterion_id, 0)
    if not weight > 0:
        return
    text = f"{criterion_id} has a weight, but it needs {', '.join(unmet)}"
    if with_presets({"preset": settings.preset}).get("weight", {}).get(criterion_id) != weight:
        raise UsageError(text, "its inputs", "give them")
    report(f"{text}: not assessed (its weight is of the preset {', '.join(settings.preset)})")


def given_for(need: str, site: Site, settings: Settings) -> bool:
    """Whether an optional input that a criterion needs was given, and holds something."""
    if need == "bearings":
        return len(settings.bearings) > 1
    if need == "wind":
        return site.wind is not None
    if need == "soil_groups":
        return has_groups(site.soils)
    if need == "standing":
        return site.surface is not None or bool(site.obstacles is not None and len(site.obstacles))
    kind, _, name = need.partition(":")
    features = site.services.get(name) if kind == "service" else getattr(site, kind)
    return features is not None and len(features) > 0
