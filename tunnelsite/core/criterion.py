"""The plug-in protocol for criteria: a pure measure over placements plus a description and rubrics."""

from __future__ import annotations

from collections.abc import Callable, Mapping
from dataclasses import dataclass, field
from typing import TYPE_CHECKING, NamedTuple, Protocol

import numpy as np

from tunnelsite.core.describe import Description
from tunnelsite.core.rubric import Rubric

if TYPE_CHECKING:
    from tunnelsite.core.house import House, Pad
    from tunnelsite.core.layers import Features
    from tunnelsite.core.site import Frame
    from tunnelsite.kernels.expected import SlopeExcess
    from tunnelsite.kernels.terrain.blade import Ripple
    from tunnelsite.kernels.terrain.grading import Grading
    from tunnelsite.kernels.terrain.plane_error import SlopeErrors
    from tunnelsite.kernels.terrain.planes import Planes


class Truth(NamedTuple):
    """What is known of the true value of a measure, given the measured one: `mean` and standard error `se`, float arrays over
    the strip's placements, in the unit of the measure; NaN = not known. The error is taken as normal."""

    mean: np.ndarray
    se: np.ndarray


class Placements(Protocol):
    """What a measure may ask of the site: a strip of placements of one house on one frame, one centred on each cell.

    Every method that returns an array returns one value a placement, [strip rows, cols], NaN where the rectangle covers a cell
    without data or leaves the grid. `scan.strip.Strip` is the real one; a test may use any object with the members that it needs.
    """

    @property
    def house(self) -> House:
        """The house; its rectangle on the ground is the footprint."""

    @property
    def pad(self) -> Pad:
        """What is graded: the footprint and the apron round it."""

    @property
    def cell_m(self) -> float:
        """Side of a cell [m]."""

    @property
    def frame(self) -> Frame:
        """The site on the local grid: `frame.layers`, `frame.grid`, `frame.services`, `frame.step_m` ..."""

    @property
    def rows(self) -> tuple[int, int]:
        """First and past-the-last row of the strip on the frame's grid."""

    @property
    def shows_ground(self) -> bool:
        """False where the elevation model's cells are too wide to show how the ground lies under the house."""

    @property
    def pad_pitch(self) -> float:
        """The slope that a finished pad may keep [fraction]."""

    def feasible(self) -> np.ndarray:
        """bool [strip rows, cols]: placements still in the running; not to be changed."""

    def layer(self, name: str) -> np.ndarray:
        """A layer's own cells, in the unit of the layer. Errors: KeyError where there is no such layer."""

    def footprint_mean(self, name: str) -> np.ndarray:
        """Area-weighted mean of a layer under the footprint."""

    def footprint_max(self, name: str) -> np.ndarray:
        """Largest value of a layer under the footprint."""

    def footprint_min(self, name: str) -> np.ndarray:
        """Smallest value of a layer under the footprint."""

    def pad_max(self, name: str) -> np.ndarray:
        """Largest value of a layer under the pad."""

    def pad_min(self, name: str) -> np.ndarray:
        """Smallest value of a layer under the pad."""

    def plane(self) -> Planes:
        """Least-squares plane of the natural ground under the footprint: `mean_m` above the frame's datum, `slope_along` and
        `slope_across` [fraction; + = rises to the ridge's east and north end], `rms_m` off it, `crown_m`."""

    def grading(self, shrink: float) -> Grading:
        """Earthwork of the pad: `cut_m3`, `fill_m3`, `max_cut_m`, `max_fill_m`; NaN where not feasible.

        Arguments: shrink, m3 of cut for each m3 of compacted fill.
        """

    def features(self, name: str) -> Features:
        """Features of the user's own, by the name of `--layer`. Errors: KeyError where there are none."""

    def distance(self, features: Features) -> np.ndarray:
        """Distance [m] from the nearest point of the footprint to the nearest of the features, 0 where they meet; NaN where not
        feasible and where there is no feature."""

    def elevation_sd(self) -> np.ndarray:
        """Standard deviation [m] of the error of one elevation that counts round each placement."""

    def pad_ripple(self) -> Ripple:
        """What errors of the elevations alone show as ground off its plane under the pad, for each metre of their standard deviation."""

    def slope_errors(self) -> SlopeErrors:
        """Standard errors `along` and `across` [fraction] of the slopes of `plane()`; NaN = not known, and where the elevation
        model's cells are too wide to show the pitch."""

    def slope_excess(self) -> SlopeExcess:
        """By how much the true slopes `along` and `across` are expected to exceed `pad_pitch` either way, and by what chance: float64
        [placements still in the running]."""


@dataclass(frozen=True)
class Criterion:
    """Measures every placement, in a stated unit, and says how the measure is judged.

    Attributes:
        description: id, title, unit of the measure, layers it reads, parameters, source.
        measure: measure(site, **parameters) -> array over the strip's placements, NaN = not assessed; pure.
        rubrics: by kind of house; `any` serves kinds that are not named.
        truth: truth(site, measure, **parameters) -> Truth, where errors of the elevations and ground that the model's cells
            hide reach the measure: marks then are the expected ones. None = the measure is taken as exact.
        firm: its limit is not the user's to relax (open water, something standing on the pad): no compromise breaks it.
        needs: conditions without which it is not assessed and left out of a run, by their names in `core.needs.CONDITIONS`;
            `service:water`, `layer:soil_ph` name one file of several.
        partly: by condition, what it cannot see where that is not met, though it is assessed all the same.
        words: a measure in words, where its number alone says little: `well drained`.
        limit_by: a setting that moves its limit, by its name in `core.needs.LIMITS`.
    """

    description: Description
    measure: Callable[..., np.ndarray]
    rubrics: Mapping[str, Rubric] = field(default_factory=dict)
    needs: tuple[str, ...] = ()
    truth: Callable[..., Truth] | None = None
    firm: bool = False
    partly: Mapping[str, str] = field(default_factory=dict)
    limit_by: str = ""
    words: Callable[[float], str] | None = None

    @property
    def id(self) -> str:
        """Short for the description's id."""
        return self.description.id

    def rubric(self, kind: str) -> Rubric:
        """The built-in rubric for a kind of house."""
        return self.rubrics[kind] if kind in self.rubrics else self.rubrics["any"]
