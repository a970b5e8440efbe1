"""The plug-in protocol for criteria: a pure measure over placements plus a description and rubrics."""

from __future__ import annotations

from collections.abc import Callable, Mapping
from dataclasses import dataclass, field
from typing import Any, NamedTuple, Protocol

import numpy as np

from tunnelsite.core.describe import Description
from tunnelsite.core.rubric import Rubric


class Truth(NamedTuple):
    """What is known of the true value of a measure, given the measured one: `mean` and standard error `se`, float arrays over
    the strip's placements, in the unit of the measure; NaN = not known. The error is taken as normal."""

    mean: np.ndarray
    se: np.ndarray


class Placements(Protocol):
    """What a measure may ask of the site: a strip of placements of one house on one frame.

    Every method returns an array [strip rows, cols]: one value for the placement centred on each cell, NaN where the
    rectangle holds a cell without data or leaves the grid.
    """

    house: Any
    pad: Any
    cell_m: float
    frame: Any
    shows_ground: (
        bool  # False where the elevation model's cells are too wide to show how the ground lies under the house
    )
    rows: tuple[int, int]

    def feasible(self) -> np.ndarray:
        """bool: placements still in the running."""

    def layer(self, name: str) -> np.ndarray:
        """The layer's own cells of the strip."""

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

    def plane(self) -> Any:
        """Least-squares plane of the natural ground under the footprint, with attributes `mean_m`, `along`, `across`
        (slopes as fractions, positive to the east and north end), `rms_m` and `crown_m`."""

    def grading(self, shrink: float) -> Any:
        """Earthwork of the pad with attributes `cut_m3`, `fill_m3`, `max_cut_m`, `max_fill_m`; NaN where not feasible."""

    def distance(self, features: Any) -> np.ndarray:
        """Distance [m] from the footprint to the nearest of the features."""

    def elevation_sd(self) -> np.ndarray:
        """Standard deviation [m] of the error of one elevation that counts round each placement."""

    def slope_errors(self) -> Any:
        """Standard errors of the slopes of `plane()` as fractions, attributes `along` and `across`; NaN = not known, and where the
        elevation model's cells are too wide to show the pitch."""


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

    @property
    def id(self) -> str:
        """Short for the description's id."""
        return self.description.id

    def rubric(self, kind: str) -> Rubric:
        """The built-in rubric for a kind of house."""
        return self.rubrics[kind] if kind in self.rubrics else self.rubrics["any"]
