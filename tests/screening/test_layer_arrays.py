import numpy as np
import pytest
import rioxarray  # noqa: F401 (gives arrays their .rio)

from tests.processes.test_season_light_bands import grove_in_winter
from tests.scan.grounds import hills, site
from tunnelsite.processes import contributing_area, season_light
from tunnelsite.screening.layer_arrays import LayerArrays
from tunnelsite.screening.layers import framed
from tunnelsite.settings.model import Settings


@pytest.fixture
def arrays() -> LayerArrays:
    frame = framed(site(hills(20, 24, 5)), Settings(), 90.0)
    shape = frame.grid.shape
    frame.keep("flow_direction", np.full(shape, 255, np.uint8), "1")
    frame.keep("open_edge", np.ones(shape, bool), "1")
    frame.keep("beam_share", np.full(shape, np.nan, np.float16), "1")
    return LayerArrays(frame)


def test_what_stands_for_no_data_is_declared(arrays) -> None:
    """By rioxarray, which takes `_FillValue` for it, as CF conventions 1.11, section 2.5.1, say."""
    codes = arrays["flow_direction"]
    assert codes.dtype == np.uint8 and codes.rio.nodata == codes.attrs["_FillValue"] == contributing_area.flow.NO_DATA
    for name in ("ground", "beam_share"):
        assert np.isnan(arrays[name].rio.nodata) and np.isnan(arrays[name].rio.encoded_nodata), name
    assert arrays["open_edge"].rio.nodata is None  # every cell is one or the other


def test_codes_become_nan_in_a_file() -> None:
    specs = {one.id: one for tool in (contributing_area, season_light) for one in tool.PROCESS.description.makes}
    values = np.array([[0, 1, 12, 255]], np.uint8)
    for name in ("flow_direction", "worst_month"):
        stored = specs[name].stored(values, 100.0)
        assert stored.dtype == np.float32
        np.testing.assert_array_equal(stored, [[0, 1, 12, np.nan]], err_msg=name)
    np.testing.assert_array_equal(specs["upslope_m2"].stored(values, 100.0), values)


def test_the_darkest_month_of_ground_without_data_is_not_known() -> None:
    inputs = grove_in_winter()
    for name in ("ground", "surface", "surface_leafless"):
        inputs[name].values[:3] = np.nan
    made = season_light.PROCESS(inputs)
    share, month = made["beam_share_worst"].values, made["worst_month"].values
    assert ((month == season_light.NOT_KNOWN) == np.isnan(share)).all() and np.isnan(share[:3]).all()
    assert set(np.unique(month[np.isfinite(share)])) <= set(range(13))
