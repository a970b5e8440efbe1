"""Settings of a command from the command line, a project file, or the screening that it goes on from."""

from __future__ import annotations

import argparse
from pathlib import Path
from typing import TYPE_CHECKING, Any

from tunnelsite.core.errors import UsageError

if TYPE_CHECKING:
    from tunnelsite.core.site import Site

SCREENED_AGAIN = ("layout", "explain", "report")
GOING_ON = ("sunchart", "grading", "stakeout", "layout", "explain", "report", "cost")


def project_values(given: argparse.Namespace) -> dict[str, Any]:
    """Settings by name; the command line wins over a project file, and without one over the screening's own settings.

    `tunnelsite report sites.gpkg` names the screening where others name the ground. Errors: UsageError; InputRefused for a
    screening whose inputs are not found.
    """
    from tunnelsite.hosts.cli.setting_options import given_settings
    from tunnelsite.settings.fields import ScreeningFields
    from tunnelsite.settings.project_file import project_settings

    if _is_screening(given):
        given.sites, given.dem = given.dem, None
    base: dict[str, Any] = project_settings(given.project)[0] if given.project else {}
    if getattr(given, "again", None) is not None:
        from tunnelsite.screening.again import origin_of

        if given.project:
            raise UsageError(
                "both --again and --project were given", "one of them", "a run that is repeated has its own settings"
            )
        origin = origin_of(given.again)
        if given.name == "region":
            origin.check_region()
            given.origin = origin
        else:
            origin.check_ranks()
        base = origin.settings | {"out": again_path(given.again)}
    if not given.project and given.dem is None and getattr(given, "sites", None) is not None:
        from tunnelsite.screening.again import origin_of

        given.origin = origin_of(given.sites)
        if given.name in SCREENED_AGAIN:
            given.origin.check_ranks()
        base = given.origin.settings
        if given.parcels is not None:
            base = {name: value for name, value in base.items() if name not in ("around", "whole")}
    return given_settings(given, ScreeningFields, base)


def again_path(sites: str) -> str:
    """Where a repeated run goes: beside the first."""
    path = Path(sites)
    return str(path.with_name(f"{path.stem}-again.gpkg"))


def check_screened(given: argparse.Namespace, site: Site) -> None:
    """Errors: InputRefused where the inputs were found by a screening and are no longer what it was made from."""
    origin = getattr(given, "origin", None)
    if origin is not None:
        origin.check(site)


def _is_screening(given: argparse.Namespace) -> bool:
    going_on = getattr(given, "name", None) in GOING_ON and getattr(given, "sites", None) is None
    return going_on and str(given.dem or "").lower().endswith(".gpkg") and given.parcels is None
