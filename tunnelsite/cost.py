"""What a screening will cost, said before it is run."""

from __future__ import annotations

from dataclasses import dataclass

from tunnelsite.core.grid import Grid
from tunnelsite.settings import Settings

# Measured on 2 cores at 2000 x 2000 cells; a guide, not a promise.
START_S = 4.0
WARP_NS, FLOW_NS, HORIZON_NS, SCAN_NS, GRADE_NS = 60.0, 450.0, 25.0, 60.0, 120.0
BYTES_PER_CELL, BASE_BYTES = 60, 350_000_000


@dataclass(frozen=True)
class Cost:
    """Estimate: cells and placements looked at, seconds, bytes of memory."""

    cells: int
    placements: int
    seconds: float
    memory_bytes: int


def estimated(grid: Grid, settings: Settings, parcel_cells: int, azimuths: int) -> Cost:
    """The cost of one run: cells of the grid, cells in parcels, directions of the horizon in which the sun stands."""
    cells, frames, houses = grid.rows * grid.cols, len(settings.bearings), len(settings.houses)
    per_frame = cells * (WARP_NS + FLOW_NS + HORIZON_NS * azimuths) + houses * (
        cells * SCAN_NS + parcel_cells * GRADE_NS
    )
    kept = 48 * parcel_cells * houses * frames
    return Cost(
        cells,
        parcel_cells * houses * frames,
        START_S + frames * per_frame * 1e-9,
        BASE_BYTES + BYTES_PER_CELL * cells + kept,
    )
