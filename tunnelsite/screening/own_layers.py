"""Rasters of the user's own on the local grid, in the unit of whatever reads them."""

from __future__ import annotations

from collections.abc import Iterator

import numpy as np

from tunnelsite.core import catalogue
from tunnelsite.core.criterion import Criterion
from tunnelsite.core.describe import LayerSpec
from tunnelsite.core.elevation_error import CELL_ERROR
from tunnelsite.core.errors import InputRefused, UsageError
from tunnelsite.core.layers import SourceRaster
from tunnelsite.core.needs import LAYERS
from tunnelsite.core.process import Process
from tunnelsite.core.site import Frame, Site
from tunnelsite.core.units import LENGTH_UNITS_M
from tunnelsite.scan.localise import nearest, warped


def add_cell_errors(frame: Frame, site: Site) -> None:
    """Give the frame the standard errors of the DEM's cells, where the survey's points tell them."""
    if site.dem_error is not None:
        frame.keep(CELL_ERROR, warped(site.dem_error, frame.grid), "m")


def add_own_rasters(frame: Frame, site: Site) -> None:
    """Give the frame the site's own rasters: bilinear, those of classes by the nearest cell; NaN where one has no data.

    Errors: UsageError for the name of a layer that the run makes itself; InputRefused for a unit that is not the one wanted.
    """
    if not site.own_rasters:
        return
    makes = {spec.id for process in catalogue.processes() for spec in process.description.makes}
    for name, raster in site.own_rasters.items():
        if name in frame.layers or name in makes or name in LAYERS:
            raise UsageError(
                f"--layer {name} bears the name of a layer that the run makes itself", "another name", "rename it"
            )
        wanted = next(_readers(name), None)
        factor, unit = _unit(name, raster, wanted, frame)
        classes = raster.classes or (wanted is not None and wanted.classes)
        values = nearest(raster, frame.grid) if classes else warped(raster, frame.grid)
        frame.keep(name, values if factor == 1.0 else values * np.float32(factor), unit)
        _note(frame, name, raster, values, classes)


def _readers(name: str) -> Iterator[LayerSpec]:
    """What criteria and processes say of a layer that they read."""
    tools: list[Criterion | Process] = [*catalogue.criteria(), *catalogue.processes()]
    for item in tools:
        yield from (spec for spec in item.description.reads if spec.id == name)


def _unit(name: str, raster: SourceRaster, wanted: LayerSpec | None, frame: Frame) -> tuple[float, str]:
    """What to multiply the values by, and the unit they then have."""
    if wanted is None:
        return 1.0, raster.unit or "1"
    if not raster.unit:
        if wanted.unit not in ("", "1") and not wanted.classes:
            frame.notes.append(
                f"layer {name} ({raster.name}) says no unit: taken as {wanted.unit}; --layer {name}=FILE@UNIT states it"
            )
        return 1.0, wanted.unit
    here, there = (LENGTH_UNITS_M.get(unit) for unit in (raster.unit.lower(), wanted.unit))
    if raster.unit == wanted.unit:
        return 1.0, wanted.unit
    if here is None or there is None:
        raise InputRefused(
            f"--layer {name}: {raster.name!r} is in {raster.unit}",
            f"{wanted.title} in {wanted.unit}",
            f"convert it, or state its unit: {name}=FILE@{wanted.unit}",
        )
    frame.notes.append(f"layer {name} ({raster.name}) was converted from {raster.unit} to {wanted.unit}")
    return here / there, wanted.unit


def _note(frame: Frame, name: str, raster: SourceRaster, values: np.ndarray, classes: bool) -> None:
    """Say how it was read and where it says nothing."""
    unknown = 1.0 - np.count_nonzero(np.isfinite(values)) / values.size
    way = "by the nearest cell, as classes" if classes else "bilinear"
    gap = (
        ""
        if not unknown
        else f"; no data on {unknown:.1%} of the land: not assessed there"
        if unknown < 1
        else ": it has no data here, nothing is assessed by it"
    )
    frame.notes.append(f"layer {name} from {raster.name}, {way}{gap}")
