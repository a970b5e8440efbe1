"""Processes that look at a few cells round each: bands of rows with some overlap give what the whole raster gives."""

from __future__ import annotations

from collections.abc import Callable, Mapping
from typing import Any

from tunnelsite.core.layers import Layer
from tunnelsite.core.process import ByTiles, GroundTiles, Progress, Write, silent
from tunnelsite.kernels.bands import bands


def by_rows(
    run: Callable[[Mapping[str, Layer], Mapping[str, Any], Progress], dict[str, Layer]], name: str, overlap: int = 1
) -> ByTiles:
    """A way to run a process band by band.

    Arguments: run, of the process; name, for the progress; overlap, rows that it looks beyond a cell.
    """

    def banded(ground: GroundTiles, parameters: Mapping[str, Any], write: Write, progress: Progress) -> None:
        height, width = ground.shape
        for rows in bands(ground.shape):
            top, bottom = max(rows.start - overlap, 0), min(rows.stop + overlap, height)
            part = Layer(ground.read(slice(top, bottom), slice(0, width)), "m", "ground", ground.cell_m)
            mine = slice(rows.start - top, rows.stop - top)
            made = run({"ground": part}, parameters, silent)
            cut = {k: Layer(v.values[mine], v.unit, v.title, v.cell_m) for k, v in made.items()}
            write(rows, slice(0, width), cut)
            progress(name, rows.stop / height)

    return ByTiles(banded)
