"""One placement on frames that are there already: any place, any house, any ridge bearing, in milliseconds."""

from __future__ import annotations

import math
from collections.abc import Sequence
from dataclasses import dataclass, field

import numpy as np
import shapely

from tunnelsite.core.criterion import Truth
from tunnelsite.core.errors import UsageError
from tunnelsite.core.grid import Grid, transformer
from tunnelsite.core.house import House, Pad
from tunnelsite.core.placement import SAME_BEARING_DEG, Placement
from tunnelsite.core.site import Frame
from tunnelsite.kernels.one_thread import one_thread
from tunnelsite.scan.engine import Judge, Scan
from tunnelsite.scan.marks import marks_from
from tunnelsite.scan.pitch_error import near_cells, stated_error
from tunnelsite.scan.strip import Strip
from tunnelsite.scan.tight_ground import Nudged
from tunnelsite.scan.turned import turned

LEAST_LOOK_M = 15.0  # beyond the pad


@dataclass(frozen=True)
class Spot:
    """One placement.

    Attributes: frame, row, col: the cell it is centred on. house, pad. wanted_m: along and across [m] of the place asked for, None =
    this very one. nudged: where placements of a scan stand beside their cell's centre. turned: whether the frame was turned for it.
    """

    frame: Frame
    row: int
    col: int
    house: House
    pad: Pad
    wanted_m: tuple[float, float] | None = None
    nudged: Nudged = field(default_factory=Nudged.none)
    turned: bool = False

    @classmethod
    def of_scan(cls, scan: Scan, index: int, wanted_m: tuple[float, float] | None = None) -> Spot:
        """A placement of a scan. Arguments: index, row * cols + col of its cell; wanted_m, as in the attributes."""
        row, col = divmod(int(index), scan.frame.grid.cols)
        return cls(scan.frame, row, col, scan.house, scan.pad, wanted_m, scan.ground.nudged)

    @property
    def index(self) -> int:
        """row * cols + col of its cell."""
        return self.row * self.frame.grid.cols + self.col

    @property
    def centre(self) -> tuple[float, float]:
        """Along and across [m] of the house's centre."""
        along, across = self.nudged.centre(self.frame.grid, np.array(self.index))
        return float(along), float(across)

    @property
    def moved_m(self) -> float:
        """How far the house's centre is from the place asked for [m]."""
        return 0.0 if self.wanted_m is None else math.dist(self.wanted_m, self.centre)

    def outline(self, rectangle: House | Pad) -> shapely.Polygon:
        """The house, or its pad, in along and across [m]."""
        along, across = self.centre
        u, v = rectangle.length_m / 2, rectangle.width_m / 2
        return shapely.box(along - u, across - v, along + u, across + v)

    def strip(self, pad_pitch: float) -> Strip:
        """What a criterion sees of it: one row, of which only the cell at `col` is feasible. Arguments: pad_pitch [fraction]."""
        mask = np.zeros((1, self.frame.grid.cols), bool)
        mask[0, self.col] = True
        return Strip(self.frame, self.house, self.pad, (self.row, self.row + 1), mask, pad_pitch, self.nudged)


@dataclass(frozen=True)
class Measured:
    """What one criterion says of a spot: measure in its unit and mark 0..1, NaN = not assessed."""

    measure: float
    mark: float


def spot_at(frames: Sequence[Frame], place: Placement, apron_m: float, look_m: float = LEAST_LOOK_M) -> Spot:
    """A placement on the frame of its bearing, else on a window of the nearest one, turned.

    Arguments: frames; place; apron_m, round the house [m]; look_m, how far beyond the pad anything is looked at (see `look_m`).
    Errors: UsageError for a place outside the data.
    """
    wanted = place.grid_bearing_deg
    frame = min(frames, key=lambda one: _apart_deg(one.grid.bearing_deg, wanted))
    pad = Pad.around(place.house, apron_m)
    row, col, along, across = cell_at(frame, place.lon_deg, place.lat_deg)
    if _apart_deg(frame.grid.bearing_deg, wanted) <= SAME_BEARING_DEG:
        return Spot(frame, row, col, place.house, pad, (along, across))
    near_m = near_cells(frame, frame.error or stated_error(frame, None, None)) * frame.grid.cell_m
    reach_m = math.hypot(pad.length_m, pad.width_m) / 2 + max(near_m, look_m)
    window = turned(frame, wanted, (along, across), reach_m)
    middle = window.grid.rows // 2
    return Spot(window, middle, middle, place.house, pad, turned=True)


def look_m(judges: Sequence[Judge]) -> float:
    """How far [m] beyond a pad criteria look: for water that passes beside it."""
    return max([LEAST_LOOK_M, *(float(judge.parameters.get("reach_m", 0.0)) for judge in judges)])


def cell_at(frame: Frame, lon_deg: float, lat_deg: float) -> tuple[int, int, float, float]:
    """Row and column of the cell that holds a place, and its along and across [m]. Errors: UsageError outside the data."""
    return cell_on(frame.grid, lon_deg, lat_deg)


def cell_on(grid: Grid, lon_deg: float, lat_deg: float) -> tuple[int, int, float, float]:
    """As `cell_at`, on a grid alone."""
    along, across = grid.from_map(*transformer("EPSG:4326", grid.crs_wkt).transform(lon_deg, lat_deg))
    where = np.array([(grid.north_m - across) / grid.cell_m, (along - grid.west_m) / grid.cell_m])
    if not (np.isfinite(where).all() and (where >= 0).all() and (where < grid.shape).all()):
        raise UsageError(
            f"{lon_deg}, {lat_deg} is outside the data of this run",
            "a place on the farm",
            "check the order: lon lat",
        )
    row, col = (int(value) for value in where)
    return row, col, float(along), float(across)


def measured(spot: Spot, judges: Sequence[Judge], pad_pitch: float) -> dict[str, Measured]:
    """Every measure of one placement and its mark, whether or not a limit rejects it.

    Arguments: spot; judges; pad_pitch [fraction].
    Return: by criterion id, in single precision as in a scan; NaN where the frame lacks a layer that the criterion reads.
    """
    found = {}
    with one_thread():
        strip = spot.strip(pad_pitch)
        for judge in judges:
            if not _readable(judge, spot.frame):
                found[judge.id] = Measured(math.nan, math.nan)
                continue
            measure = judge.measure(strip)
            known = judge.truth(strip, measure)
            truth = None if known is None else Truth(*(part[0, spot.col] for part in known))
            value = float(measure[0, spot.col])
            found[judge.id] = Measured(value, float(marks_from(judge.rubric, np.array(value), truth)))
    return found


def _readable(judge: Judge, frame: Frame) -> bool:
    return all(spec.optional or spec.id in frame.layers for spec in judge.criterion.description.reads)


def _apart_deg(one: float, other: float) -> float:
    """Angle between two ridges, 0 to 90: a ridge has two ends."""
    return abs((one - other + 90.0) % 180.0 - 90.0)
