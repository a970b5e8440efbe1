"""The crown is positive where water runs off: in the measure, in its marks and in the candidates."""

import numpy as np
import pytest

from tests.scan.grounds import site
from tunnelsite import Settings, screen
from tunnelsite.core.house import House

SETTINGS = Settings(halo_m=10, apron_m=0.0, setback_m=0.0, top=1, shift_m=0.0)


@pytest.mark.parametrize("sign", [1.0, -1.0])
def test_a_ridge_sheds_and_a_trough_holds(sign):
    row = np.mgrid[0:41, 0:60][0] - 20.0
    ground = 100.0 - sign * 0.02 * row**2 / 9.0  # 2 cm lower (higher) 3 m off the middle line
    result = screen(site(ground), House(6.0, 12.0), settings=SETTINGS)
    scan = result.scans[0]
    item = int(np.argmin(np.abs(scan.index - (20 * scan.frame.grid.cols + 30))))
    assert scan.measures["crown"][item] == pytest.approx(sign * 0.02, abs=0.004)
    assert np.sign(result.rows[0]["crown_m"]) == sign
