"""Options for the settings of a screening, as the commands share them."""

from __future__ import annotations

import argparse
from collections.abc import Iterable

# What the commands that go on from a screening may change; the rest is taken from its run table.
_INPUTS = ("around", "whole", "elevation_unit", "dem_crs", "band", "zero_is_nodata", "cell", "overwrite")
STAKEOUT = (*_INPUTS, "apron", "shrink", "service", "layer")
GRADING = (
    *STAKEOUT,
    "drawn",
    "halo",
    "structures",
    "clearance",
    "setback",
    "keep_out",
    "elevation_error",
    "error_range",
)
COST = (*GRADING, "surface", "obstacles", "price")
CHART = (
    *_INPUTS, "crop_months", "weather", "far_dem", "far_reach", "far_elevation_unit", "surface", "obstacles", "drawn",
    "bare_trees", "bare_transmission", "light_height", "ridge", "bearing", "halo",
)  # fmt: skip


def add_screen_settings(
    command: argparse.ArgumentParser,
    *,
    only: Iterable[str] | None = None,
    without: Iterable[str] = (),
    shown: Iterable[str] | None = None,
) -> None:
    """Ground, parcels, project file and an option for each of the settings.

    Arguments: only, keys of the settings that get an option (None = all); without, keys of those that get none; shown, keys of
    those that `--help` lists, the others being left to that of `screen` (None = all).
    """
    from tunnelsite.hosts.cli.setting_options import add_settings
    from tunnelsite.settings.field import fields_of
    from tunnelsite.settings.fields import ScreeningFields  # pydantic: only where the settings are needed

    words = {field.key: field.words for field in fields_of(ScreeningFields)}
    for key in ("dem", "parcels"):
        command.add_argument(key, nargs="?", metavar=key.upper(), help=words[key].help.removesuffix("."))
    command.add_argument("--project", metavar="FILE", help="project file (TOML); the command line wins")
    add_settings(command, ScreeningFields, only=only, without=without, shown=shown)
    if shown is not None:
        command.add_argument_group(
            "settings of the screening",
            "Taken from SITES.gpkg unless given: every option of `tunnelsite screen` is one of this command too; see "
            "`tunnelsite screen --help`.",
        )
