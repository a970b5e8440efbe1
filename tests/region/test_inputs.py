"""What any task would refuse is refused before the first one starts."""

from __future__ import annotations

import numpy as np
import pytest
import shapely
from rasterio.transform import Affine

from tests.whole_run.files import UTM17, plain_farm, write_dem, write_parcels
from tunnelsite.core.errors import InputRefused
from tunnelsite.region.inputs import read_region
from tunnelsite.settings.model import settings_from


def test_columns_and_units(tmp_path) -> None:
    dem, parcels = plain_farm(tmp_path)
    given = {"dem": str(dem), "parcels": str(parcels)}
    assert read_region(settings_from(given)).names
    bare = str(write_parcels(tmp_path / "x.gpkg", [shapely.box(500_000, 4_700_000, 500_010, 4_700_010)], UTM17))
    for name, column in (("obstacles", "height_m"), ("soils", "drainage_class")):
        with pytest.raises(InputRefused, match=f"a column {column}"):
            read_region(settings_from(given | {name: bare}))
    whole = np.full((20, 20), 250, np.int16)
    for west, words in ((700_000, "--far-elevation-unit"), (500_000, "do not meet")):
        far = str(write_dem(tmp_path / f"{west}.tif", whole, Affine(5, 0, west, 0, -5, 4_700_000), UTM17))
        with pytest.raises(InputRefused, match=words):
            read_region(settings_from(given | {"far_dem": far}))
