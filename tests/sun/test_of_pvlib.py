"""Parts of pvlib without pvlib."""

from __future__ import annotations

import subprocess
import sys

import numpy as np
from pvlib import spa as whole

from tunnelsite.sun.of_pvlib import spa

A_DAY = np.arange(1_750_000_000.0, 1_750_086_400.0, 3600.0)
SOMEWHERE = (43.0, -78.0, 200.0, 989.0, 12.0, 69.0, 0.5667)


def test_positions_are_those_of_pvlib() -> None:
    assert np.array_equal(spa().solar_position(A_DAY, *SOMEWHERE), whole.solar_position(A_DAY, *SOMEWHERE))


def test_a_year_of_light_imports_neither_pvlib_nor_scipy_nor_pandas() -> None:
    code = (
        "import sys; from tunnelsite.sun.irradiance import clear_sky_steps; from tunnelsite.sun.position import Observer;"
        "assert clear_sky_steps(Observer(43.0, -78.0), 60).beam_wh.sum() > 0;"
        "print(sorted({'pvlib', 'scipy', 'pandas', 'numba'} & set(sys.modules)))"
    )
    done = subprocess.run([sys.executable, "-c", code], capture_output=True, text=True, check=True)
    assert done.stdout.strip() == "[]"
