"""Two files of pvlib, read where they lie: `import pvlib` loads a good part of scipy, half a second in every process."""

from __future__ import annotations

import functools
import importlib.util
from importlib.machinery import PathFinder
from pathlib import Path
from types import ModuleType

import numpy as np


@functools.cache
def spa() -> ModuleType:
    """The module `pvlib.spa`, which needs nothing but numpy."""
    spec = PathFinder.find_spec("pvlib.spa", _folders())
    if spec is None or spec.loader is None:
        raise ModuleNotFoundError("pvlib has no module spa")
    module = importlib.util.module_from_spec(spec)
    spec.loader.exec_module(module)
    return module


def monthly_turbidity(lat_deg: float, lon_deg: float) -> np.ndarray:
    """Linke turbidity in the middle of each month [12], from the map of SoDa/Meteotest in cells of 1/12 degree."""
    import h5py

    rows, cols = 2160, 4320
    row = round((90.0 - lat_deg) * rows / 180.0 - 0.5)
    col = round((lon_deg + 180.0) * cols / 360.0 - 0.5)
    with h5py.File(Path(_folders()[0]) / "data" / "LinkeTurbidities.h5") as file:
        kept = file["LinkeTurbidity"][min(max(row, 0), rows - 1), min(max(col, 0), cols - 1)]
    return np.asarray(kept) / 20.0  # kept in steps of 0.05


def _folders() -> list[str]:
    spec = importlib.util.find_spec("pvlib")
    if spec is None:
        raise ModuleNotFoundError("pvlib is not installed")
    return list(spec.submodule_search_locations or ())
