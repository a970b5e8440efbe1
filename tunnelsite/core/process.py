"""The plug-in protocol for processes: layers and parameters in, layers out; pure."""

from __future__ import annotations

from collections.abc import Callable, Mapping
from dataclasses import dataclass, replace
from typing import Any

import numpy as np

from tunnelsite.core.describe import Description, LayerSpec
from tunnelsite.core.errors import UsageError, refuse_other
from tunnelsite.core.layers import Layer
from tunnelsite.core.one_process import refuse_forked
from tunnelsite.core.units import VERTICAL_UNITS_M

Progress = Callable[[str, float], None]  # (what is being done, share done 0..1)
Inputs = Mapping[str, Layer]  # what a process reads, by the id of its LayerSpec
Values = Mapping[str, Any]  # its parameters, by id, checked and with the defaults filled in


def silent(what: str, share: float) -> None:
    """The progress function for those who do not want to hear."""


@dataclass(frozen=True)
class GroundTiles:
    """Heights of a raster too large to be held.

    Attributes: shape, (rows, cols); cell_m, (east-west, north-south) cell size [m]; read(rows, cols), two slices, gives those heights:
    float32, metres above one datum, NaN = no data, the same each time.
    """

    shape: tuple[int, int]
    cell_m: tuple[float, float]
    read: Callable[[slice, slice], np.ndarray]


Write = Callable[
    [slice, slice, dict[str, Layer]], None
]  # (rows, cols, the layers there), once for each cell, in any order


def _always(parameters: Mapping[str, Any]) -> bool:
    return True


@dataclass(frozen=True)
class ByTiles:
    """A second way to run a process that reads `ground` alone: part by part, the same layers to the bit as of the whole.

    Attributes: run(ground, parameters, write, progress); allows(parameters), whether it can be done with these.
    """

    run: Callable[[GroundTiles, Mapping[str, Any], Write, Progress], None]
    allows: Callable[[Mapping[str, Any]], bool] = _always


@dataclass(frozen=True)
class Process:
    """A geoprocessing tool.

    Attributes:
        description: id, layers it reads and makes, parameters, source.
        run: run(inputs, parameters, progress) -> outputs; inputs and outputs are layers by id; no files, no printing.
        by_tiles: how it is run on a raster too large to be held, or None where it needs the whole.
    """

    description: Description
    run: Callable[[Inputs, Values, Progress], dict[str, Layer]]
    by_tiles: ByTiles | None = None

    @property
    def id(self) -> str:
        """Short for the description's id."""
        return self.description.id

    def __call__(
        self, inputs: Mapping[str, Layer], parameters: Mapping[str, Any] | None = None, progress: Progress = silent
    ) -> dict[str, Layer]:
        """Check inputs and parameters against the description and run.

        Lengths in another unit are converted. Errors: UsageError; as `refuse_forked`.
        """
        refuse_forked()
        for spec in self.description.reads:
            if spec.id not in inputs and not spec.optional:
                raise UsageError(
                    f"{self.id} was not given the layer {spec.id!r}", f"{spec.title} [{spec.unit}]", "add it"
                )
        reads = {spec.id: spec for spec in self.description.reads}
        known = {name: in_unit(one, reads[name], self.id) for name, one in inputs.items() if name in reads}
        return self.run(dict(inputs) | known, self.description.checked(dict(parameters or {})), progress)


def in_unit(layer: Layer, spec: LayerSpec, owner: str) -> Layer:
    """A layer in the unit that it is read in. Errors: UsageError for something else, or a unit that it cannot be converted from."""
    refuse_other(layer, f"{owner}: {spec.id}", Layer)
    if layer.unit == spec.unit:
        return layer
    if spec.unit != "m" or layer.unit not in VERTICAL_UNITS_M:
        raise UsageError(
            f"{owner}: the layer {spec.id} is in {layer.unit!r}", f"{spec.title} in {spec.unit!r}", "convert it"
        )
    return replace(layer, values=(layer.values * VERTICAL_UNITS_M[layer.unit]).astype(np.float32), unit="m")
