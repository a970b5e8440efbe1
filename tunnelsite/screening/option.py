"""From a ranked candidate to a placement that every plan takes, with the settings of its screening."""

from __future__ import annotations

import os
from typing import TYPE_CHECKING, Any

from tunnelsite.core.errors import UsageError
from tunnelsite.core.house import House
from tunnelsite.core.placement import Placement
from tunnelsite.io.read.sites_file import ScreenedCandidate, read_option
from tunnelsite.settings.model import Settings, settings_from

if TYPE_CHECKING:
    from tunnelsite.screening.result import Result

# What decides where the cells lie, what is graded and how.
GROUND_SETTINGS = (
    "kind",
    "ridge",
    "elevation_unit",
    "dem_crs",
    "band",
    "zero_is_nodata",
    "cell",
    "halo",
    "apron",
    "pad_pitch",
    "shrink",
    "clearance",
    "setback",
    "elevation_error",
    "error_range",
)
# What decides the light.
LIGHT_SETTINGS = ("crop_months", "light_height", "bare_trees", "bare_transmission", "far_reach", "far_elevation_unit")
KEPT = (*GROUND_SETTINGS, *LIGHT_SETTINGS)
ANY_SIZE = "30x96ft"  # used in the settings where the house's name is no size; the house itself is the placement's


def option(sites: str | os.PathLike[str], rank: int = 1) -> Placement:
    """A ranked candidate of a finished screening, with the settings of that screening.

    Args:
        sites: the GeoPackage of a screening.
        rank: from 1.

    Returns:
        Placement, which every plan takes.

    Raises:
        InputRefused: for a file that no screening wrote.
        UsageError: for a rank that is not there.
    """
    return placement_of(read_option(os.fspath(sites), rank), rank)


def placement_of(screened: ScreenedCandidate, rank: int) -> Placement:
    """The placement of a candidate as a screening wrote it. Errors: UsageError for settings that cannot be."""
    row, values = screened.row, settings_of(screened)
    settings = settings_from(values)
    house = screened_house(screened, settings)
    title = f"Candidate {rank}, {row['parcel']}, {house.name}"
    where = (float(row["lon"]), float(row["lat"]), float(row["bearing_deg"]))
    sources = ((screened.file, screened.sha256),)
    return Placement(*where, house, title, str(row["parcel"]), rank, tuple(values.items()), sources)


def settings_of(screened: ScreenedCandidate) -> dict[str, Any]:
    """The settings of a finished screening by the names of a project file, with the house and bearing of one candidate."""
    fields = {field.alias or name: name for name, field in Settings.model_fields.items()}
    then = screened.settings()
    values: dict[str, Any] = {name: then[fields[name]] for name in KEPT if fields[name] in then}
    if "zero_is_nodata" in values:
        values["zero_is_nodata"] = values["zero_is_nodata"] == "True"
    name = str(screened.row["house"])
    values["house"] = [name if is_size(name) else ANY_SIZE]
    if screened.row.get("bearing_deg") is not None:
        values["bearing"] = nominal_bearing(screened)
    return values


def screened_house(screened: ScreenedCandidate, settings: Settings) -> House:
    """The house of a candidate: its sizes are those of the row, whatever it is called."""
    row = screened.row
    name = str(row["house"])
    feet = House.parse(name).feet if is_size(name) else False
    return House(float(row["width_m"]), float(row["length_m"]), settings.kind, settings.ridge_m, name, feet)


def nominal_bearing(screened: ScreenedCandidate) -> float:
    """The bearing that was asked for [deg]: of those the screening tried, the one nearest to the candidate's own."""
    true = float(screened.row["bearing_deg"])
    tried = screened.bearings() or [true]
    return min(tried, key=lambda bearing: abs((bearing - true + 90.0) % 180.0 - 90.0))


def is_size(name: str) -> bool:
    """Whether a house's name is its size, such as `30x96ft`."""
    try:
        House.parse(name)
    except UsageError:
        return False
    return True


def option_of(result: Result, rank: int) -> Placement:
    """A ranked candidate of a screening at hand. Errors: UsageError for a rank that is not there."""
    if not 1 <= rank <= len(result.choices):
        raise UsageError(
            f"rank is {rank}", f"1 to {len(result.choices)}" if result.choices else "a screening that found a place",
            "choose one of the candidates" if result.choices else "screen again with other limits",
        )  # fmt: skip
    row, scan = result.rows[rank - 1], result.scans[result.choices[rank - 1].scan]
    told = result.settings.model_dump(by_alias=True, mode="json", exclude_none=True)
    values = {name: told[name] for name in KEPT if name in told}
    values["house"] = [scan.house.name if is_size(scan.house.name) else ANY_SIZE]
    values["bearing"] = scan.frame.grid.bearing_deg
    title = f"Candidate {rank}, {row['parcel']}, {scan.house.name}"
    where = (float(row["lon"]), float(row["lat"]), float(row["bearing_deg"]))
    return Placement(*where, scan.house, title, str(row["parcel"]), rank, tuple(values.items()))
