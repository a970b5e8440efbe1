"""The rasters of a frame as xarray.DataArray, as any other program takes them."""

from __future__ import annotations

from collections.abc import Iterator, Mapping
from typing import TYPE_CHECKING

import numpy as np

from tunnelsite.core.describe import LayerSpec
from tunnelsite.core.site import Frame
from tunnelsite.screening.layers import layer_specs

if TYPE_CHECKING:
    import xarray

_IN_A_FILE = {"float16": np.float32, "bool": np.uint8}  # which no raster file holds, or few programs read


class LayerArrays(Mapping[str, "xarray.DataArray"]):
    """Layers of a frame as DataArrays, made on demand. What stands for no data is their `_FillValue`: NaN, or a code."""

    def __init__(self, frame: Frame) -> None:
        self._frame, self._specs = frame, layer_specs()

    def __getitem__(self, name: str) -> xarray.DataArray:
        import xarray

        values, grid = np.asarray(self._frame.layers[name]), self._frame.grid
        spec = self._specs.get(name, LayerSpec(name, self._frame.units.get(name, "1"), ""))
        if spec.is_elevation:
            values = values.astype(np.float64) + self._frame.datum_m  # absolute, as in any other program
        elif values.dtype.name in _IN_A_FILE:
            values = values.astype(_IN_A_FILE[values.dtype.name])
        along, _ = grid.centre(np.zeros(grid.cols), np.arange(grid.cols))
        _, across = grid.centre(np.arange(grid.rows), np.zeros(grid.rows))
        attributes = {
            "units": self._frame.units.get(name, "1"),
            "crs": grid.crs_wkt,
            "bearing_deg": grid.bearing_deg,
            "transform": grid.affine,
        }
        a, b, c, d, e, f = grid.affine
        place = {
            "crs_wkt": grid.crs_wkt,
            "spatial_ref": grid.crs_wkt,
            "GeoTransform": f"{c!r} {a!r} {b!r} {f!r} {d!r} {e!r}",
        }
        coordinates = {
            "across": ("across", across, {"axis": "Y", "units": "m"}),
            "along": ("along", along, {"axis": "X", "units": "m"}),
            "spatial_ref": ((), 0, place),
        }
        made = xarray.DataArray(values, coordinates, ("across", "along"), name=name, attrs=attributes)
        made.encoding["grid_mapping"] = "spatial_ref"
        if spec.no_data is not None:
            made.attrs["_FillValue"] = values.dtype.type(spec.no_data)  # as of a file that is opened as it is
        elif values.dtype.kind == "f":
            made.encoding["_FillValue"] = values.dtype.type(np.nan)  # as of one in which no data became NaN
        return made

    def __iter__(self) -> Iterator[str]:
        return iter(self._frame.layers)

    def __len__(self) -> int:
        return len(self._frame.layers)
