"""Horizons for tests."""

import numpy as np

from tunnelsite.core.horizon import Horizon


def flat_horizon() -> Horizon:
    """The horizon of an open plain."""
    return Horizon(np.array([0.0]), np.array([0.0]))
