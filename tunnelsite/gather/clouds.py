"""Point clouds become ground, surface and point-count rasters in the project folder."""

from __future__ import annotations

import contextlib
from collections.abc import Callable, Iterable, Iterator
from dataclasses import replace
from pathlib import Path
from typing import IO

import numpy as np

from tunnelsite.core.errors import InputRefused, UsageError
from tunnelsite.core.layers import SourceRaster
from tunnelsite.core.units import VERTICAL_UNITS_M
from tunnelsite.gather.data_sources import DataSource
from tunnelsite.gather.gridded import CellGrid, GroundCells, ground_cells, surface_cells
from tunnelsite.gather.record import Entry, entry_of
from tunnelsite.io.fetch.door import Door
from tunnelsite.io.fetch.ranged import RangedFile
from tunnelsite.io.fetch.window import Area
from tunnelsite.io.formats.cog import write_cog
from tunnelsite.io.read.points import Cloud, read_cloud

Progress = Callable[[str, float], None]
MADE = (
    "ground",
    "surface",
    "ground-points",
    "ground-scatter",
    "ground-error",
)  # files, as they are named in the record


def gather_clouds(
    files: list[tuple[DataSource, str]],
    door: Door,
    area: Area,
    folder: Path,
    *,
    cell_m: float,
    crs: str | None,
    progress: Progress,
    overwrite: bool,
) -> list[Entry]:
    """Clouds, by address or local path, as `ground.tif`, `surface.tif`, `ground-points.tif`, `ground-scatter.tif`, `ground-error.tif`.

    Arguments: files, (source, address or path); door; area; folder; cell_m, 0.25 to 10; crs, where clouds state none.
    Errors: InputRefused, UsageError, OutputFailed.
    """
    if not 0.25 <= cell_m <= 10:
        raise UsageError(f"the cell is {cell_m:g} m", "0.25 to 10 m", "correct --cell")
    clouds, notes = [], []
    for k, (_, place) in enumerate(files):
        progress("reading points", k / len(files))
        try:
            with _opened(door, place) as file:
                clouds.append(read_cloud(file, Path(place).name, area.bounds, crs))
        except InputRefused as problem:
            if "no point in the area" not in problem.given or len(files) == 1:
                raise
            notes.append(problem.given)
    whole = _with_unit(_joined(clouds), files[0][0].unit)
    if not whole.classified:
        whole, words = filtered(whole)
        notes.append(words)
    metre = whole.crs.axis_info[0].unit_conversion_factor
    lattice = CellGrid.over(whole.easting, whole.northing, cell_m / metre)
    progress("ground from points", 0.0)
    there = whole.ground
    ground = ground_cells(whole.easting[there], whole.northing[there], whole.height[there], lattice)
    surface = surface_cells(whole.easting, whole.northing, whole.height, lattice)
    return _written(folder, (ground, surface), whole, lattice, files, notes, overwrite)


@contextlib.contextmanager
def _opened(door: Door, place: str) -> Iterator[IO[bytes] | RangedFile]:
    if "://" in place:
        with RangedFile(door, place) as ranged:
            yield ranged
        return
    try:
        file = open(place, "rb")  # noqa: SIM115
    except OSError as problem:
        raise InputRefused(
            f"{place} cannot be opened ({problem.strerror})", "a LAS or LAZ file", "check the name"
        ) from None
    with file:
        yield file


def _with_unit(cloud: Cloud, stated: str) -> Cloud:
    """With the unit of heights settled. Errors: UsageError where a map in feet does not say what its heights are in."""
    if stated or cloud.unit:
        return replace(cloud, unit=stated or cloud.unit)
    if abs(cloud.crs.axis_info[0].unit_conversion_factor - 1.0) > 1e-9:
        raise InputRefused(
            f"{cloud.name} lies on a map in {cloud.crs.axis_info[0].unit_name} and does not say what its heights are in",
            "m, ft or us-ft",
            "state it with --unit",
        )
    return replace(cloud, unit="m", notes=(*cloud.notes, "heights taken to be in metres, like the map"))


def _joined(clouds: list[Cloud]) -> Cloud:
    if not clouds:
        raise InputRefused("no cloud has a point in the area", "a cloud that covers it", "check the place")
    first = clouds[0]
    for other in clouds[1:]:
        if other.crs != first.crs or other.unit != first.unit:
            raise InputRefused(
                f"{other.name} lies in {other.crs.name}, {first.name} in {first.crs.name}",
                "clouds of one coordinate system and unit",
                "gather them one by one",
            )
    return replace(
        first,
        easting=np.concatenate([one.easting for one in clouds]),
        northing=np.concatenate([one.northing for one in clouds]),
        height=np.concatenate([one.height for one in clouds]),
        ground=np.concatenate([one.ground for one in clouds]),
        classified=any(one.classified for one in clouds),
        notes=tuple(dict.fromkeys(note for one in clouds for note in one.notes)),
    )


def filtered(cloud: Cloud) -> tuple[Cloud, str]:
    """The cloud with its ground found by the cloth filter (Zhang et al. 2016), and words on it. Errors: UsageError without it."""
    try:
        import CSF
    except ImportError:
        raise UsageError(
            f"no point of {cloud.name} is classified as ground",
            "a classified cloud, or the package cloth-simulation-filter",
            "pip install cloth-simulation-filter",
        ) from None
    unit_m = VERTICAL_UNITS_M[cloud.unit]
    metre = cloud.crs.axis_info[0].unit_conversion_factor
    centre = cloud.easting.mean(), cloud.northing.mean()
    filtering = CSF.CSF()
    filtering.params.bSloopSmooth = False
    filtering.params.cloth_resolution = 1.0
    filtering.setPointCloud(
        np.column_stack(
            [(cloud.easting - centre[0]) * metre, (cloud.northing - centre[1]) * metre, cloud.height * unit_m]
        )
    )
    ground, rest = CSF.VecInt(), CSF.VecInt()
    filtering.do_filtering(ground, rest, False)
    there = np.zeros(len(cloud.height), bool)
    there[np.array(ground, dtype=np.int64)] = True
    found = Cloud(
        cloud.easting, cloud.northing, cloud.height, there, cloud.crs, cloud.unit, True, cloud.name, cloud.notes
    )
    return found, "no point was classified: the ground was found by a cloth filter (Zhang et al. 2016); look at it"


def _written(
    folder: Path,
    rasters: tuple[GroundCells, np.ndarray],
    cloud: Cloud,
    lattice: CellGrid,
    files: list[tuple[DataSource, str]],
    notes: Iterable[str],
    overwrite: bool,
) -> list[Entry]:
    ground, surface = rasters
    unit = cloud.unit
    layers = {
        "ground": (ground.height, unit, "ground from survey points"),
        "surface": (surface, unit, "highest survey point of each cell"),
        "ground-points": (ground.count.astype(np.float32), "1", "ground points in each cell"),
        "ground-scatter": (ground.scatter, unit, "rms of ground points off the plane round each cell"),
        "ground-error": (ground.error, unit, "standard error of the ground's height, cell by cell"),
    }
    words = error_words(ground, lattice, cloud)
    entries = []
    for name, (values, of_unit, title) in layers.items():
        path = folder / f"{name}.tif"
        place = SourceRaster(values.astype(np.float32), lattice.affine, cloud.crs)
        write_cog(path, values, place, unit=of_unit, title=title, overwrite=overwrite)
        more = (*cloud.notes, *notes, words) if name == "ground" else ()
        addresses = [address for _, address in files]
        entries.append(entry_of(path, name, files[0][0], addresses, "the clouds that were named", more))
    return entries


def error_words(ground: GroundCells, lattice: CellGrid, cloud: Cloud) -> str:
    """What the points say of the heights' error."""
    error_m = ground.usual_error * VERTICAL_UNITS_M[cloud.unit]
    cell_m = lattice.side * cloud.crs.axis_info[0].unit_conversion_factor
    void = float(np.isnan(ground.height).mean())
    held = float((ground.count > 0).mean())
    words = f"{held:.0%} of the cells hold ground points, {void:.0%} are voids"
    if not np.isfinite(error_m):
        return f"{words}; too few points to tell the error of the heights"
    return (
        f"{words}; by the scatter of its points, the height of a cell is off by {error_m:.3f} m (standard error, {cell_m:g} m cells): "
        "a screening of this file counts ground-error.tif; errors shared by a whole flight line are not included"
    )
