"""Layers of the user's own (`--layer NAME=FILE`): rasters of any unit, and features, for criteria that read them by name."""

from __future__ import annotations

import os
from collections.abc import Mapping
from dataclasses import dataclass, replace
from typing import TYPE_CHECKING

import numpy as np

from tunnelsite.core.errors import InputRefused
from tunnelsite.core.layers import Features, SourceRaster
from tunnelsite.io.read.drivers import is_raster
from tunnelsite.io.read.files import checked_file, file_name, layer_of, sha256
from tunnelsite.io.read.given import features_of, numbers_given
from tunnelsite.io.read.land_window import window_bounds
from tunnelsite.io.read.raster_header import RasterHeader, raster_header
from tunnelsite.io.read.rasters import values_of
from tunnelsite.io.read.vectors import read_features
from tunnelsite.settings.model import own_layer_parts

if TYPE_CHECKING:
    from tunnelsite.io.read.given import Raster, Vector

KINDS = ("point", "line", "polygon")


@dataclass(frozen=True)
class OwnRaster:
    """A raster of the user's own before its cells are read.

    Attributes: header; unit, as stated or as the file says, '' = neither; classes, whether its numbers are those of classes; sha256.
    """

    header: RasterHeader
    unit: str
    classes: bool
    sha256: str

    def read(self, land: Features, halo_m: float) -> SourceRaster:
        """Its cells round the parcels; none where it does not reach there. Errors: InputRefused for a file that is damaged or changed."""
        try:
            bounds = window_bounds(self.header, land, halo_m)
        except InputRefused:  # it lies elsewhere: nothing is known of it here, which the run says
            empty = np.full((1, 1), np.nan, np.float32)
            raster = SourceRaster(empty, self.header.affine, self.header.crs, name=file_name(self.header.path))
        else:
            raster = values_of(self.header, bounds)
        if raster.sha256 not in ("", self.sha256):
            raise InputRefused(f"{raster.name} has changed while the run went on", "a file at rest", "run again")
        return replace(raster, sha256=self.sha256, unit=self.unit, classes=self.classes)


@dataclass(frozen=True)
class OwnLayers:
    """Layers of the user's own by name: rasters of files, features, and rasters that are in memory."""

    rasters: dict[str, OwnRaster]
    features: dict[str, Features]
    in_memory: dict[str, SourceRaster]

    def read(self, land: Features, halo_m: float) -> dict[str, SourceRaster]:
        """The cells of the rasters round the parcels. Errors: as `OwnRaster.read`."""
        return {name: one.read(land, halo_m) for name, one in self.rasters.items()} | self.in_memory

    @property
    def by_role(self) -> list[tuple[str, str, str]]:
        """(what it is used as, name, SHA-256) of each."""
        found = [
            (f"layer:{name} {one.unit} {one.classes}", file_name(one.header.path), one.sha256)
            for name, one in self.rasters.items()
        ]
        return found + [(f"layer:{name}", one.name, one.sha256) for name, one in self.features.items()]


def own_layers(given: Mapping[str, Raster | Vector]) -> OwnLayers:
    """Headers of rasters, and features, from `FILE`, `FILE@UNIT` or `FILE@classes` by name, or as they are given.

    Errors: InputRefused, UsageError.
    """
    rasters, features, in_memory = {}, {}, {}
    for name, one in given.items():
        option = f"--layer {name}"
        if not isinstance(one, str | os.PathLike):
            if hasattr(one, "geometry"):
                features[name] = features_of(one, option, kinds=KINDS, may_be_empty=True)
            else:
                in_memory[name] = numbers_given(one, option)
            continue
        file, said = own_layer_parts(os.fspath(one))
        if not is_raster(checked_file(layer_of(file)[0], option), option):
            features[name] = read_features(file, option, kinds=KINDS, may_be_empty=True)
            continue
        header = raster_header(file, option)
        header = replace(
            header, path=header.path.absolute()
        )  # a worker of another scheduler was started in another folder
        unit = "" if said == "classes" else said or header.bands[0].unit
        classes = said == "classes" or header.bands[0].colour == "palette"
        rasters[name] = OwnRaster(header, unit, classes, sha256(header.path))
    return OwnLayers(rasters, features, in_memory)
