"""The GeoPackage of a screening, read again."""

from __future__ import annotations

import geopandas
import pytest
import shapely

from tunnelsite.core.errors import InputRefused, UsageError
from tunnelsite.io.read.sites_file import read_candidate, read_run


def test_another_geopackage_is_called_no_screening(tmp_path):
    """The parcels given in place of the answer: the message names what is wanted, not a layer that the user never heard of."""
    path = tmp_path / "parcels.gpkg"
    parcels = geopandas.GeoDataFrame({"name": ["a"]}, geometry=[shapely.box(0, 0, 9, 9)], crs="EPSG:32617")
    parcels.to_file(path, layer="parcels")
    for reading in (lambda: read_run(str(path)), lambda: read_candidate(str(path), 1)):
        with pytest.raises(
            InputRefused, match=r"not the result of a screening.*`tunnelsite screen`.*name that file"
        ) as told:
            reading()
        assert "layer 'layout'" not in str(told.value)


def test_text_that_is_no_path_stays_a_wrong_usage():
    with pytest.raises(UsageError, match="is data, not the path of a file"):
        read_run('{"type": "FeatureCollection"}')
