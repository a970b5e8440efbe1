"""What a criterion sees: a strip of placements of one house on one frame."""

from __future__ import annotations

from collections.abc import Callable, Iterator
from functools import cached_property
from typing import TYPE_CHECKING

import numpy as np
import shapely

from tunnelsite.core.elevation_error import ErrorModel
from tunnelsite.core.house import House, Pad
from tunnelsite.core.layers import Features
from tunnelsite.core.site import Frame, segments_of
from tunnelsite.kernels.expected import SlopeExcess, expected_excess
from tunnelsite.kernels.polygon_mask import polygon_mask
from tunnelsite.kernels.reach import rectangle_distances
from tunnelsite.kernels.terrain.blade import Ripple
from tunnelsite.kernels.terrain.grading import Grading, graded_pads
from tunnelsite.kernels.terrain.plane_error import SlopeErrors
from tunnelsite.kernels.terrain.planes import Planes, rectangle_planes
from tunnelsite.kernels.windows import rectangle_max, rectangle_mean, rectangle_min
from tunnelsite.scan.pitch_error import counted_shares, errors_of, lone_error, ripple_of, shows_pitch, stated_error
from tunnelsite.scan.tight_ground import Nudged

if TYPE_CHECKING:
    from tunnelsite.core.criterion import Placements

    def _is_placements(strip: Strip) -> Placements:  # the type checker holds the two together
        return strip


BAND_ROWS = 128  # rows of a tile of `kernels.terrain.second_differences`, so that no window is summed twice


class Strip:
    """A strip of rows of the grid; every cell is the centre of one placement. Fulfils `core.criterion.Placements`.

    Arguments: frame; house; pad; rows, first and past-the-last row; mask, bool [strip rows, cols], placements still in
    the running; pad_pitch, the slope a pad may keep [fraction]; nudged, placements that stand beside their cell's centre: their
    distances are exact, what lies under them is read at the cell.
    """

    def __init__(
        self,
        frame: Frame,
        house: House,
        pad: Pad,
        rows: tuple[int, int],
        mask: np.ndarray,
        pad_pitch: float,
        nudged: Nudged | None = None,
    ) -> None:
        self.frame, self.house, self.pad, self.rows = frame, house, pad, rows
        self.cell_m = frame.grid.cell_m
        self.pad_pitch = pad_pitch
        self.nudged = nudged or Nudged.none()
        self.shows_ground = shows_pitch(frame, house)
        self._mask = mask
        self._graded: dict[float, Grading] = {}
        self._excess: SlopeExcess | None = None
        self._blank: set[float] = set()  # of these, what was rejected since is still to be blanked

    @property
    def shape(self) -> tuple[int, int]:
        """(strip rows, cols)."""
        return self._mask.shape

    def feasible(self) -> np.ndarray:
        """bool [strip rows, cols]: placements still in the running."""
        return self._mask

    def reject(self, beyond: np.ndarray) -> None:
        """Take placements out of the running."""
        if beyond.any():
            self._mask &= ~beyond
            self._blank = set(self._graded)

    def layer(self, name: str) -> np.ndarray:
        """The strip's own cells of a layer."""
        return self.frame.layers[name][self.rows[0] : self.rows[1]]

    def footprint_mean(self, name: str) -> np.ndarray:
        """Area-weighted mean of a layer under the footprint."""
        return self._under(rectangle_mean, name, self.house)

    def footprint_max(self, name: str) -> np.ndarray:
        """Largest value of a layer under the footprint."""
        return self._under(rectangle_max, name, self.house)

    def footprint_min(self, name: str) -> np.ndarray:
        """Smallest value of a layer under the footprint."""
        return self._under(rectangle_min, name, self.house)

    def pad_max(self, name: str) -> np.ndarray:
        """Largest value of a layer under the pad."""
        return self._under(rectangle_max, name, self.pad)

    def pad_min(self, name: str) -> np.ndarray:
        """Smallest value of a layer under the pad."""
        return self._under(rectangle_min, name, self.pad)

    def plane(self) -> Planes:
        """Least-squares plane of the natural ground under the footprint."""
        return self._plane

    @cached_property
    def _plane(self) -> Planes:
        return rectangle_planes(self.frame.ground, *self._cells(self.house), self.cell_m, rows=self.rows)

    def elevation_sd(self) -> np.ndarray:
        """Standard deviation [m] of the error of one elevation that counts round each placement."""
        found: np.ndarray = self._sd
        return found

    def pad_ripple(self) -> Ripple:
        """What errors of the elevations alone show under the pad, for each metre of their standard deviation."""
        return self._ripple

    @cached_property
    def _ripple(self) -> Ripple:
        return ripple_of(self._stated, self.pad, self.cell_m)

    @cached_property
    def _stated(self) -> ErrorModel:
        return self.frame.error or stated_error(self.frame, None, None)

    def take_errors(self, errors: np.ndarray) -> None:
        """Count these errors of one elevation and of the two slopes instead of what the ground shows: float32 [3, strip rows, cols]."""
        self._sd, self._slopes, self._excess = errors[0], errors[1:], None

    def slope_errors(self) -> SlopeErrors:
        """Standard errors of the plane's slopes [fraction]; NaN where they are not known or the model cannot show the pitch."""
        if not self.shows_ground:
            nothing = np.full(self.shape, np.nan, np.float32)
            return SlopeErrors(nothing, nothing)
        return SlopeErrors(*(np.where(self._mask, values, np.nan) for values in self._slopes))

    def slope_excess(self) -> SlopeExcess:
        """By how much the true slopes exceed the pad's, float64 [placements still in the running], for several criteria."""
        left = int(np.count_nonzero(self._mask))
        if self._excess is None or len(self._excess.along.mean) != left:  # they only ever leave the running
            plane, errors = self.plane(), self.slope_errors()
            self._excess = SlopeExcess(
                *(
                    expected_excess(slope[self._mask], error[self._mask], self.pad_pitch)
                    for slope, error in zip((plane.slope_along, plane.slope_across), errors, strict=True)
                )
            )
        return self._excess

    @cached_property
    def _shares(self) -> np.ndarray:
        """Share of the stated error that counts, float64 [strip rows, cols]; NaN where not in the running."""
        out = np.full(self.shape, np.nan)
        for part, rows in self._bands():
            shares = counted_shares(self.frame, self._stated, rows)
            np.copyto(out[part], shares, where=self._mask[part])
        return out

    @cached_property
    def _sd(self) -> np.ndarray:
        return (self._shares * self._stated.sd_m).astype(np.float32)

    @cached_property
    def _slopes(self) -> np.ndarray:
        """Errors of the two slopes, float32 [2, strip rows, cols]; NaN where not in the running: asked for last, they cost little."""
        out = np.full((2, *self.shape), np.nan, np.float32)
        shares = np.where(self._mask, self._shares, np.nan)
        for part, rows in self._bands():
            found = errors_of(self.frame, self.house, self._stated, rows, shares[part])
            for layer, values in zip(out, found.both, strict=True):
                layer[part][~np.isnan(shares[part])] = values
        return out

    def _bands(self) -> Iterator[tuple[slice, tuple[int, int]]]:
        """Bands of the strip in which something is in the running, so that memory does not grow with it, and their rows on the grid."""
        for top in range(0, self.shape[0], BAND_ROWS):
            part = slice(top, min(top + BAND_ROWS, self.shape[0]))
            if self._mask[part].any():
                yield part, (self.rows[0] + part.start, self.rows[0] + part.stop)

    def grading(self, shrink: float) -> Grading:
        """Earthwork of each feasible pad, as arrays over the strip (NaN elsewhere); see `kernels.terrain.grading`."""
        if shrink not in self._graded:
            self._graded[shrink] = self._graded_now(shrink)
            return self._graded[shrink]
        if shrink in self._blank:  # placements only ever leave the running, so what is left was graded before
            self._blank.remove(shrink)
            gone = ~self._mask
            for values in self._graded[shrink]:
                np.copyto(values, np.nan, where=gone)
        return self._graded[shrink]

    def _graded_now(self, shrink: float) -> Grading:
        places = np.flatnonzero(self._mask)
        rows, cols = np.divmod(places, self.shape[1])
        packed = graded_pads(
            self.frame.ground,
            rows + self.rows[0],
            cols,
            *self._cells(self.pad),
            self.cell_m,
            max_slope=self.pad_pitch,
            shrink=shrink,
            ripple_m=self.pad_ripple().counted * self.elevation_sd().ravel()[places],
            lone_sd_m=lone_error(self._stated, self.cell_m),
        )
        spread = []
        for values in packed:
            full = np.full(self.shape, np.nan, np.float32)
            full.ravel()[places] = values
            spread.append(full)
        return Grading(*spread)

    def distance(self, features: Features) -> np.ndarray:
        """Distance [m] from each feasible footprint to the nearest feature; NaN elsewhere or without features."""
        full = np.full(self.shape, np.nan, np.float32)
        rows, cols = np.nonzero(self._mask)
        if not len(rows) or not len(features):
            return full
        along, across = self.nudged.centre(self.frame.grid, (rows + self.rows[0]) * self.shape[1] + cols)
        half = (self.house.length_m / 2, self.house.width_m / 2)
        full[rows, cols] = rectangle_distances(along, across, *half, segments_of(features.geometry))
        areas = features.geometry[shapely.get_dimensions(features.geometry) == 2]
        if len(areas):  # a footprint wholly inside an area is far from its edge, but there
            grid = self.frame.grid.window(self.rows[0], 0, *self.shape)
            place = (grid.west_m, grid.north_m, grid.cell_m, grid.shape)
            full[polygon_mask(segments_of(shapely.union_all(areas)), *place) & self._mask] = 0.0
        return full

    def features(self, name: str) -> Features:
        """Features of the user's own, by name. Errors: KeyError where none of that name were given."""
        return self.frame.own_features[name]

    def _under(self, kernel: Callable[..., np.ndarray], name: str, rectangle: House | Pad) -> np.ndarray:
        """A kernel of `windows` over the strip; a layer kept in half precision is widened where it is looked at."""
        layer, size, rows = self.frame.layers[name], self._cells(rectangle), self.rows
        if layer.dtype == np.float16:
            reach = int(size[1] / 2) + 2
            above = rows[0] - max(rows[0] - reach, 0)
            layer = layer[rows[0] - above : rows[1] + reach].astype(np.float32)
            rows = (above, above + rows[1] - rows[0])
        return kernel(layer, *size, rows=rows)

    def _cells(self, rectangle: House | Pad) -> tuple[float, float]:
        return rectangle.length_m / self.cell_m, rectangle.width_m / self.cell_m
