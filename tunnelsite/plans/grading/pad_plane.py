"""The pad's cells, the earth to move to a plane, and the plane a grading plan asks for."""

from __future__ import annotations

from dataclasses import dataclass, replace

import numpy as np
from scipy import optimize

from tunnelsite.core.errors import UsageError
from tunnelsite.core.house import House
from tunnelsite.core.stakes import DesignPlane
from tunnelsite.kernels.terrain.blade import blade_step
from tunnelsite.kernels.terrain.grading import graded_pads
from tunnelsite.plans.grading.design_plane import SETTLED_M, PlaneLimits, least_volume_plane
from tunnelsite.plans.grading.earth_rule import EarthRule, fixed_shape
from tunnelsite.plans.grading.judged_ground import rim_heights, rim_points
from tunnelsite.plans.grading.side_slopes import Finish, side_slopes, slope_volumes
from tunnelsite.plans.grading.volumes import prism_volumes
from tunnelsite.plans.place import PlacedHouse

NO_AREA = 1e-9  # of a cell: counts for a limit, not for a volume


@dataclass(frozen=True)
class Earthwork:
    """Earth to move, in place: cut and fill [m3] and the deepest of each [m]."""

    cut_m3: float
    fill_m3: float
    max_cut_m: float
    max_fill_m: float

    @property
    def moved_m3(self) -> float:
        """Cut + fill [m3]."""
        return self.cut_m3 + self.fill_m3


@dataclass(frozen=True)
class FinishedPad:
    """A pad's finished surface: a plane and what is laid on it. Attributes: plane; house; crown, apron_fall, as in
    `EarthRule`."""

    plane: DesignPlane
    house: House
    crown: float = 0.0
    apron_fall: float = 0.0

    def height(self, u_m: np.ndarray, v_m: np.ndarray) -> np.ndarray:
        """Finished height [m] at distances along and across from the centre [m]."""
        shape = EarthRule(crown=self.crown, apron_fall=self.apron_fall)
        return np.asarray(self.plane.height(u_m, v_m) + fixed_shape(self.house, shape, u_m, v_m))


def finish_of(place: PlacedHouse, settings: EarthRule, plane: DesignPlane) -> Finish:
    """finish(u_m, v_m): finished height of the pad [m] at distances from its centre."""
    return FinishedPad(plane, place.house, settings.crown, settings.apron_fall).height


@dataclass(frozen=True)
class PadCells:
    """The pad's cells: earth to be graded less the fixed shape [m], areas [m2] and distances from the centre [m]; `rim`, the same
    heights and distances where rows and columns of cells meet its edges and at its corners [3, n]; `within`, cells whose
    middle lies on the pad."""

    heights: np.ndarray
    areas: np.ndarray
    u: np.ndarray
    v: np.ndarray
    rim: np.ndarray
    within: np.ndarray

    @classmethod
    def of(cls, place: PlacedHouse, settings: EarthRule, ground: np.ndarray) -> PadCells:
        """From the natural ground [rows, cols] [m]. Errors: InputRefused as `Place.known_pad`."""
        heights = place.known_pad(ground)
        rows, cols, weights = place.pad_cells()
        r, c = np.mgrid[rows, cols]
        u, v = place.distances(r, c)
        laid = settings.base_m if place.house.kind == "container" else settings.topsoil_m
        laid -= settings.topsoil_m
        earth = heights + laid - fixed_shape(place.house, settings, u, v)
        at = rim_points(place)
        rim = rim_heights(place, ground, *at) + laid - fixed_shape(place.house, settings, *at)
        known = np.isfinite(rim)
        within = (abs(u) <= place.pad.length_m / 2 + 1e-9) & (abs(v) <= place.pad.width_m / 2 + 1e-9) & (weights > 0)
        rim = np.stack([rim[known], at[0][known], at[1][known]])
        return cls(earth, weights * place.grid.cell_m**2, u, v, rim, within)

    def earthwork(self, plane: DesignPlane) -> Earthwork:
        """Earth to move to a plane."""
        over = np.where(self.areas > 0, self.heights - plane.height(self.u, self.v), 0.0)
        edge = self.rim[0] - plane.height(self.rim[1], self.rim[2])
        deep = np.concatenate([over[self.within], edge])
        cut, fill = (max(float((k * deep).max()), 0.0) for k in (1, -1))
        return Earthwork(*prism_volumes(over, self.areas), cut, fill)


def pad_plane(ground: np.ndarray, place: PlacedHouse, settings: EarthRule, pad: PadCells) -> DesignPlane:
    """The plane of a plan: least volume under the balance asked for. Errors: UsageError, InputRefused as `side_slopes`."""
    free = settings.balance == "none"
    limits = PlaneLimits(
        settings.max_slope, settings.across_limit, settings.shrink, None if free else 0.0, settings.deepest_cut_m
    )
    heights, areas, u, v = (values.ravel() for values in (pad.heights, pad.areas, pad.u, pad.v))
    if settings.deepest_cut_m is not None:  # the limit holds at the pad's edges too, which have no area
        edge = pad.rim.shape[1]
        heights, u, v = (np.concatenate(pair) for pair in zip((heights, u, v), pad.rim, strict=True))
        areas = np.concatenate([areas, np.full(edge, NO_AREA * pad.areas.max())])

    def within(limits: PlaneLimits) -> DesignPlane:
        return least_volume_plane(heights, areas, u, v, limits)

    if settings.balance == "pad":
        return _nearest_quick(place, settings, pad, within(limits))
    if settings.balance == "none":
        return within(limits)

    def planned(surplus: float) -> DesignPlane:
        return within(replace(limits, surplus_m3=surplus))

    def left_over(surplus: float) -> float:
        finish = finish_of(place, settings, planned(surplus))
        cut, fill, *_ = slope_volumes(side_slopes(place, ground, finish, settings.rule), place, finish, ground)
        return surplus + cut - settings.shrink * fill

    # More surplus on the pad means a lower pad, hence more cut and less fill on the slopes: one root, found between bounds.
    first = left_over(0.0)
    if abs(first) < 1e-6:
        return planned(0.0)
    other = -first
    for _ in range(20):
        if left_over(other) * first <= 0:
            break
        other *= 2
    else:
        raise UsageError(
            "pad and side slopes cannot be balanced together", "a place where they can", "balance the pad only"
        )
    return planned(optimize.brentq(left_over, min(0.0, other), max(0.0, other), xtol=0.01))


def _nearest_quick(place: PlacedHouse, settings: EarthRule, pad: PadCells, best: DesignPlane) -> DesignPlane:
    """The quick plane where it moves no more than the best one: of many best planes, the one that suits the whole pad."""
    quick = quick_plane(place, settings, pad)
    found, wanted = pad.earthwork(quick), pad.earthwork(best)
    too_deep = settings.deepest_cut_m is not None and found.max_cut_m > settings.deepest_cut_m
    too_tilted = abs(quick.slope_across) > settings.across_limit + 1e-12
    more = found.moved_m3 > wanted.moved_m3 + SETTLED_M * place.pad.area_m2
    return best if more or too_deep or too_tilted else quick


def quick_plane(place: PlacedHouse, settings: EarthRule, pad: PadCells) -> DesignPlane:
    """The plane of `kernels.terrain.grading` for the same cells: least squares, clipped, balanced on the pad."""
    cell = place.grid.cell_m
    # heights a blade feels lie several fine cells apart, the last of them beyond the pad: the ground goes on as it ends
    heights = np.pad(pad.heights, 2 * blade_step(cell), mode="reflect", reflect_type="odd")
    middle = np.array(heights.shape) // 2
    datum = np.nanmedian(heights)  # near it float32 tells micrometres apart, and the screening has compiled that kernel
    found = graded_pads(
        (heights - datum).astype(np.float32),
        middle[:1],
        middle[1:],
        place.pad.length_m / cell,
        place.pad.width_m / cell,
        cell,
        settings.max_slope,
        settings.shrink,
    )
    return DesignPlane(float(datum + found.level_m[0]), float(found.slope_along[0]), float(found.slope_across[0]))
