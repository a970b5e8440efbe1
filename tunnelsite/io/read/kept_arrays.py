"""Arrays of a kept run, read without trust: sizes are judged before anything is allocated, shapes before anything is used."""

from __future__ import annotations

import math
import zipfile
from pathlib import Path
from typing import IO, Any

import numpy as np

from tunnelsite.core.rubric import Rubric
from tunnelsite.core.site import Frame
from tunnelsite.io.read.files import require_memory


def stored_arrays(file: Path) -> dict[str, np.ndarray]:
    """Every array of a NumPy archive.

    Errors: ResourceShortage; ValueError and whatever zipfile and NumPy raise for a file that is no whole archive of plain
    arrays.
    """
    with zipfile.ZipFile(file) as archive:
        members = archive.infolist()
        require_memory(sum(item.file_size for item in members), f"kept run {file}", "use a machine with more memory")
        for item in members:
            with archive.open(item) as stream:
                _check_header(item, stream)
    with np.load(file, allow_pickle=False) as stored:
        return {name: stored[name] for name in stored.files}


def _check_header(item: zipfile.ZipInfo, stream: IO[bytes]) -> None:
    """An array's header may not promise more than its member of the archive holds: memory is taken by the header."""
    if not item.filename.endswith(".npy"):
        raise ValueError(f"{item.filename} is no array")
    version = np.lib.format.read_magic(stream)
    read = {(1, 0): np.lib.format.read_array_header_1_0, (2, 0): np.lib.format.read_array_header_2_0}[version]
    shape, _, dtype = read(stream)
    if dtype.hasobject or dtype.kind not in "biuf":
        raise ValueError(f"{item.filename} holds {dtype}")
    if math.prod(shape) * dtype.itemsize != item.file_size - stream.tell():
        raise ValueError(f"{item.filename} is not as long as it says")


def check_frame(frame: Frame) -> None:
    """Errors: ValueError for a frame whose parts do not fit together."""
    grid = frame.grid
    _must(isinstance(grid.rows, int) and isinstance(grid.cols, int) and grid.rows > 0 and grid.cols > 0, "grid")
    _must(0 < grid.cell_m < 1e5 and all(map(math.isfinite, (grid.west_m, grid.north_m, grid.bearing_deg))), "grid")
    _must(-180 <= frame.lon_deg <= 180 and -90 <= frame.lat_deg <= 90 and math.isfinite(frame.datum_m), "place")
    _must(len(frame.parcels) == len(frame.parcel_names) > 0, "parcels")
    _must(all(isinstance(text, str) for text in [*frame.parcel_names, *frame.notes]), "names")
    _must("ground" in frame.layers, "ground")
    for name, values in frame.layers.items():
        _must(values.shape == grid.shape, name)
    _must(frame.ground.dtype == np.float32, "ground")


def check_scan(scan: Any, judges: list[tuple[str, Rubric]]) -> None:
    """Errors: ValueError for a scan whose placements, measures or tallies do not fit its frame or the criteria."""
    parcels, count = len(scan.frame.parcels), len(scan.index)
    _check_placements(scan.frame, scan, [name for name, _ in judges])
    for number, (name, rubric) in enumerate(judges, 1):
        if name in scan.lost:
            _check_placements(scan.frame, scan.lost[name], [before for before, _ in judges[:number]])
            _must(bool(rubric.beyond(scan.lost[name].measures[name]).all()), "lost")
    for name, truth in scan.truths.items():
        _must(name in scan.measures, "truths")
        _must(all(part.shape == (count,) and part.dtype.kind == "f" for part in truth), "truths")
        _must(not (truth.se < 0).any(), "truths")
    _must(bool((scan.ground.owner.ravel()[scan.index] == scan.owner).all()), "owner")
    for counts in (scan.ground.inside, *scan.ground.rejected.values()):
        _must(counts.shape == (parcels,) and counts.dtype.kind in "iu", "counts")
    for tallies in scan.tallies.values():
        _must(len(tallies) == parcels, "tallies")
        for tally in tallies:
            whole = (tally.tried, tally.rejected, tally.miss_row, tally.miss_col)
            _must(all(isinstance(value, int) for value in whole) and isinstance(tally.miss, float), "tallies")


def _check_placements(frame: Frame, some: Any, names: list[str]) -> None:
    """Errors: ValueError for placements (index, owner, measures) that do not fit the frame, or without just these measures."""
    index, owner, grid = some.index, some.owner, frame.grid
    _must(index.ndim == 1 and index.dtype == np.int64, "index")
    _must(owner.shape == index.shape and owner.dtype == np.int32, "owner")
    if len(index):
        _must(bool((np.diff(index) > 0).all()), "index")
        _must(index[0] >= 0 and index[-1] < grid.rows * grid.cols, "index")
        _must(owner.min() >= 0 and owner.max() < len(frame.parcels), "owner")
    _must(set(some.measures) == set(names), "measures")
    for values in some.measures.values():
        _must(values.shape == index.shape and values.dtype.kind == "f", "measures")


def _must(holds: bool, what: str) -> None:
    if not holds:
        raise ValueError(f"{what} does not fit")
