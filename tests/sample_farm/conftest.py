"""The committed sample farm, read once."""

import json
from dataclasses import dataclass
from pathlib import Path

import geopandas as gpd
import numpy as np
import pytest
import rasterio
import richdem
import shapely
from affine import Affine
from rasterio.features import rasterize


@dataclass(frozen=True)
class SampleFarm:
    """Heights [m, NaN = no data], ground filled flat and tilted (richdem), parcels by name, planted facts."""

    dem: np.ndarray
    surface: np.ndarray
    filled: np.ndarray
    routed: richdem.rdarray
    transform: Affine
    parcels: gpd.GeoDataFrame
    truths: dict

    def cells_in(self, geometry):
        """True where a cell's centre lies in the geometry."""
        return rasterize([geometry], self.dem.shape, transform=self.transform, dtype="uint8").astype(bool)

    def place(self, name):
        """Centre of a planted feature."""
        return shapely.Point(self.truths[name]["centre"]["easting"], self.truths[name]["centre"]["northing"])


@pytest.fixture(scope="session")
def farm():
    """The sample farm as its files have it."""
    folder = Path(__file__).resolve().parents[2] / "sample_data"
    heights = {}
    for name in ("dem", "surface"):
        with rasterio.open(folder / f"{name}.tif") as src:
            heights[name] = src.read(1, masked=True).astype("float64").filled(np.nan)
            transform = src.transform
    raster = richdem.rdarray(np.nan_to_num(heights["dem"], nan=-9999.0), no_data=-9999.0)
    raster.geotransform = [0, 1, 0, 0, 0, -1]
    filled = np.where(np.isnan(heights["dem"]), np.nan, np.array(richdem.FillDepressions(raster)))
    parcels = gpd.read_file(folder / "parcels.gpkg").set_index("parcel")
    truths = json.loads((folder / "truths.json").read_text(encoding="ascii"))
    routed = richdem.FillDepressions(raster, epsilon=True)
    return SampleFarm(heights["dem"], heights["surface"], filled, routed, transform, parcels, truths)
