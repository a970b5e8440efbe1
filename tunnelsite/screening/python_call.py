"""What a call from Python may hand to a screening: told in words before anything is computed."""

from __future__ import annotations

from collections.abc import Sequence
from typing import Any

from tunnelsite.core.errors import UsageError
from tunnelsite.core.house import House
from tunnelsite.core.site import Site
from tunnelsite.settings.model import Settings


def settings_asked(settings: Any) -> Settings:
    """The settings, or the usual ones. Errors: UsageError for what are no `Settings`."""
    if settings is None:
        return Settings()
    if not isinstance(settings, Settings):
        raise _wrong("settings", settings, "Settings, or nothing", "make them with Settings(setback='20ft', top=5)")
    return settings


def houses_asked(site: Any, houses: Any, settings: Settings) -> list[House]:
    """The houses to be screened: those given, else those of the settings. Errors: UsageError for another site or other houses."""
    if not isinstance(site, Site):
        raise _wrong("site", site, "a Site", "read one with read_site(dem, parcels)")
    wanted = settings.houses if houses is None else [houses] if isinstance(houses, House) else houses
    if isinstance(wanted, str) or not isinstance(wanted, Sequence) or not all(isinstance(one, House) for one in wanted):
        raise _wrong("houses", houses, "a House or several", "make one with House.parse('30x96ft')")
    if not wanted:
        raise _wrong("houses", houses, "at least one House", "leave it out to take those of the settings")
    return list(wanted)


def with_screened_houses(settings: Settings, houses: Sequence[House]) -> Settings:
    """The settings with the houses that are really screened, so that the run table tells the truth of them.

    Errors: UsageError for houses of different kinds or ridge heights: one rubric and one light height serve a run.
    """
    for name, title in (("kind", "kinds"), ("ridge_m", "ridge heights")):
        found = list(dict.fromkeys(getattr(house, name) for house in houses))
        if len(found) > 1:
            raise UsageError(
                f"the houses are of {title} {' and '.join(map(str, found))}",
                "houses of one kind and one ridge height in a run",
                "screen them one kind at a time and compare the results",
            )
    first = houses[0]
    if list(houses) == settings.houses:
        return settings
    told = {"house": [house.name for house in houses], "kind": first.kind, "ridge_m": first.ridge_m}
    return settings.model_copy(update=told)


def _wrong(what: str, given: Any, expected: str, fix: str) -> UsageError:
    shown = repr(given)
    return UsageError(f"{what} is {shown if len(shown) <= 80 else type(given).__name__}", expected, fix)
