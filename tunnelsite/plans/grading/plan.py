"""From a chosen placement to its grading plan: finished ground, side slopes, volumes, what to strip and what to order."""

from __future__ import annotations

from dataclasses import dataclass, replace

import numpy as np
import shapely
from numpy.typing import ArrayLike

from tunnelsite.core.elevation_error import ErrorModel
from tunnelsite.core.stakes import DesignPlane, heights_at
from tunnelsite.plans.grading.earth_rule import EarthRule
from tunnelsite.plans.grading.judged_ground import NO_ERROR, felt_ground, judged_ground
from tunnelsite.plans.grading.pad_plane import Earthwork, PadCells, finish_of, pad_plane, quick_plane
from tunnelsite.plans.grading.side_slopes import Finish, SideSlopes, side_slopes, slope_depths, slope_volumes
from tunnelsite.plans.grading.warnings import NOT_BUILDABLE, plan_conflicts, plan_warnings
from tunnelsite.plans.place import PlacedHouse, box
from tunnelsite.plans.site_limits import SiteLimits

SMOOTH_M = (
    0.05  # 2 in: earth moved no deeper is smoothed in place with a rake or a box blade; common practice, no source
)
LEFT_SHARE = 0.5  # of the topsoil, that shaping in place leaves at least; common practice, no source


@dataclass(frozen=True)
class Profile:
    """Natural and finished ground [m] along a line, at distances from the pad's centre [m]."""

    distance_m: np.ndarray
    natural_m: np.ndarray
    finished_m: np.ndarray


@dataclass(frozen=True)
class Materials:
    """What is stripped, put back and ordered: topsoil [m3], base compacted and loose [m3], fabric without overlaps [m2]."""

    topsoil_stripped_m3: float
    topsoil_back_m3: float
    base_m3: float
    base_order_m3: float
    fabric_m2: float


@dataclass(frozen=True)
class GradingPlan:
    """How one pad is graded.

    Volumes of the pad are of the earth under topsoil or base: natural ground less what is stripped, against the finished
    ground less what is laid on it. For an in-ground house (as much put back as stripped) that is ground against finish.

    Attributes:
        place, settings: what was asked. natural, finished: ground [rows, cols] [m] before and after.
        plane: design plane of the finished ground. quick_plane: that of `kernels.terrain.grading`, for comparison.
        pad, slopes, quick_pad: earthwork of the pad, of its side slopes, and of the pad graded to the quick plane.
        sides: side slopes. outline: all disturbed ground, in the grid's along and across [m].
        materials: topsoil, base and fabric.
        measured: the ground [rows, cols] [m] as a blade meets it, errors of the elevations and all; `natural` is less what they
            alone would show.
        over_parcel_m2: disturbed ground beyond the open ground [m2], None where that is not known.
        warnings: in plain words. conflicts: those of them that name what lies in the way.
    """

    place: PlacedHouse
    settings: EarthRule
    natural: np.ndarray
    finished: np.ndarray
    plane: DesignPlane
    quick_plane: DesignPlane
    pad: Earthwork
    slopes: Earthwork
    quick_pad: Earthwork
    sides: SideSlopes
    outline: shapely.Geometry
    materials: Materials
    over_parcel_m2: float | None
    measured: np.ndarray
    warnings: tuple[str, ...] = ()
    conflicts: tuple[str, ...] = ()

    @property
    def buildable(self) -> bool:
        """Whether the earthwork keeps inside the parcel and off what is to be kept clear of."""
        return not any(text.startswith(NOT_BUILDABLE) for text in self.conflicts)

    @property
    def tier(self) -> str:
        """What the pad needs, by what is there: `smooth` in place, `shape` within the topsoil, or `strip`, grade the subsoil and
        put the topsoil back. Disturb little: crops grow in the field soil; a container house's pad is always stripped."""
        return earth_tier(self.place, self.settings, self.pad, self.slopes)

    @property
    def cut_m3(self) -> float:
        """Cut of pad and side slopes [m3]."""
        return self.pad.cut_m3 + self.slopes.cut_m3

    @property
    def fill_m3(self) -> float:
        """Fill of pad and side slopes [m3], in place."""
        return self.pad.fill_m3 + self.slopes.fill_m3

    @property
    def surplus_m3(self) -> float:
        """Cut left over (+) or to bring in (-) after pad and side slopes [m3 of cut]."""
        return self.cut_m3 - self.settings.shrink * self.fill_m3

    @property
    def saved_m3(self) -> float:
        """Cut + fill of the pad that the least-volume plane saves over the quick plane [m3]."""
        return self.quick_pad.moved_m3 - self.pad.moved_m3

    def finished_height(self, u_m: np.ndarray, v_m: np.ndarray) -> np.ndarray:
        """Finished height of the pad's surface [m] at distances along and across from the centre [m]."""
        return finish_of(self.place, self.settings, self.plane)(u_m, v_m)

    def earthwork_on(self, ground: np.ndarray) -> Earthwork:
        """Earthwork of the pad to this plan's finished heights on other ground of the same grid [m]."""
        return PadCells.of(self.place, self.settings, ground).earthwork(self.plane)

    def profile(self, *, across: bool = False, beyond_m: float = 5.0) -> Profile:
        """Natural and finished ground through the centre, along the ridge or across it, to beyond the side slopes."""
        west, south, east, north = self.place.from_grid(self.outline).bounds
        low, high = (south, north) if across else (west, east)
        step = self.place.grid.cell_m / 2
        at = np.arange(np.floor((low - beyond_m) / step), np.ceil((high + beyond_m) / step) + 1) * step
        zero = np.zeros(at.size)
        u, v = (zero, at) if across else (at, zero)
        natural = self.natural_at(u, v)
        return Profile(at, natural, np.where(np.isnan(natural), np.nan, self.surface(u, v, natural)))

    def natural_at(self, u_m: ArrayLike, v_m: ArrayLike) -> np.ndarray:
        """Natural ground [m] at distances from the centre [m], between cells; NaN where it is not known."""
        return heights_at(self.natural, *self.place.cells(u_m, v_m))

    def surface(self, u_m: np.ndarray, v_m: np.ndarray, natural_m: np.ndarray) -> np.ndarray:
        """Finished ground [m] at any points: pad, side slope or the natural ground given for them [m]."""
        return finished_surface(self.place, self.finished_height, self.sides, (u_m, v_m), natural_m)

    def natural_near(self, margin_m: float = 10.0) -> np.ndarray:
        """Natural ground [rows, cols] [m] of the disturbed ground and a margin round it: what contours have to show."""
        return self.natural[self.place.window(self.outline.buffer(margin_m).bounds)]


def grading_plan(
    ground: np.ndarray,
    place: PlacedHouse,
    settings: EarthRule | None = None,
    limits: SiteLimits | None = None,
    error: ErrorModel = NO_ERROR,
) -> GradingPlan:
    """The grading plan of one placement.

    Arguments: ground [rows, cols] [m], NaN = no data; place; settings; limits, of the earthwork: what lies
    across them is reported as not buildable as drawn, not refused; error, of the elevations: what it alone would show is taken off.
    Errors: InputRefused (no data under the pad, side slopes that leave the data or never meet the ground), UsageError.
    Source: least-volume plane, see `design_plane`; volumes by cell prisms.
    """
    settings, limits = (settings or EarthRule()).checked_for(place.house), limits or SiteLimits()
    place.known_pad(ground)
    measured = felt_ground(ground, place, settings.rule.reach_m)
    ground = judged_ground(measured, place, error)
    pad = PadCells.of(place, settings, ground)
    plane = pad_plane(ground, place, settings, pad)
    finish = finish_of(place, settings, plane)
    sides = side_slopes(place, ground, finish, settings.rule)
    quick = quick_plane(place, settings, pad)
    outline = place.on_grid(shapely.union(sides.outline, box(place.pad.length_m / 2, place.pad.width_m / 2)))
    natural = ground
    finished = natural.copy()
    window = place.window(outline.bounds)
    at = place.distances(*np.mgrid[window])
    finished[window] = finished_surface(place, finish, sides, at, natural[window])
    on_pad, on_slopes = pad.earthwork(plane), Earthwork(*slope_volumes(sides, place, finish, ground))
    beyond = None if limits.open_ground is None else float(outline.difference(limits.open_ground).area)
    tier = earth_tier(place, settings, on_pad, on_slopes)
    plan = GradingPlan(
        place=place,
        settings=settings,
        natural=natural,
        finished=finished,
        plane=plane,
        quick_plane=quick,
        pad=on_pad,
        slopes=on_slopes,
        quick_pad=pad.earthwork(quick),
        sides=sides,
        outline=outline,
        materials=_materials(place, settings, outline.area, tier),
        over_parcel_m2=beyond,
        measured=measured,
    )
    plan = replace(plan, conflicts=plan_conflicts(plan, limits))
    return replace(plan, warnings=plan_warnings(plan))


def finished_surface(
    place: PlacedHouse, finish: Finish, sides: SideSlopes, at: tuple[np.ndarray, np.ndarray], natural_m: np.ndarray
) -> np.ndarray:
    """Finished ground [m] at points `at` (u, v from the centre [m]): pad, side slope, or the natural ground given [m]."""
    u, v = at
    height, is_cut = slope_depths(sides, place, finish, u, v)
    # Between rays the toe is the nearest ray's: a cut slope never ends above the ground, a fill slope never below it.
    slope = np.where(is_cut, np.fmin(height, natural_m), np.fmax(height, natural_m))
    beyond_pad = np.where(np.isnan(height), natural_m, slope)
    on_pad = (abs(u) <= place.pad.length_m / 2) & (abs(v) <= place.pad.width_m / 2)
    return np.where(on_pad, finish(u, v), beyond_pad)


def earth_tier(place: PlacedHouse, settings: EarthRule, pad: Earthwork, slopes: Earthwork) -> str:
    """`smooth`, `shape` or `strip`, see `GradingPlan.tier`. Arguments: place; settings; earthwork of pad and side slopes."""
    deepest = max(pad.max_cut_m, pad.max_fill_m, slopes.max_cut_m, slopes.max_fill_m)
    if place.house.kind == "container":
        return "strip"
    if deepest <= SMOOTH_M:
        return "smooth"
    return "shape" if deepest <= LEFT_SHARE * settings.topsoil_m else "strip"


def _materials(place: PlacedHouse, settings: EarthRule, disturbed_m2: float, tier: str) -> Materials:
    container = place.house.kind == "container"
    taken = settings.topsoil_m if tier == "strip" else 0.0
    base = settings.base_m * place.pad.area_m2
    return Materials(
        topsoil_stripped_m3=taken * disturbed_m2,
        topsoil_back_m3=taken * (disturbed_m2 - (place.pad.area_m2 if container else 0.0)),
        base_m3=base,
        base_order_m3=base * settings.base_loose,
        fabric_m2=place.pad.area_m2 if container else 0.0,
    )
