"""A process is given its layers in the units that it states, or it refuses them."""

from __future__ import annotations

import numpy as np
import pytest

from tunnelsite.core.describe import Description, LayerSpec
from tunnelsite.core.errors import UsageError
from tunnelsite.core.layers import Layer
from tunnelsite.core.process import Process

READS = (LayerSpec("ground", "m", "bare ground"), LayerSpec("share", "1", "a share", optional=True))
ECHO = Process(Description("echo", "Echo", "Gives back.", READS), lambda inputs, values, progress: dict(inputs))
HEIGHTS = np.full((2, 3), 10.0)


@pytest.mark.parametrize(("unit", "factor"), [("m", 1.0), ("ft", 0.3048), ("us-ft", 1200 / 3937), ("cm", 0.01)])
def test_lengths_are_converted(unit: str, factor: float) -> None:
    found = ECHO({"ground": Layer(HEIGHTS, unit, "heights")})["ground"]
    assert found.unit == "m" and np.allclose(found.values, 10.0 * factor)


def test_what_cannot_be_converted_is_refused() -> None:
    for layer in (Layer(HEIGHTS, "%", ""), Layer(HEIGHTS, "", "")):
        with pytest.raises(UsageError, match="ground is in"):
            ECHO({"ground": layer})
    with pytest.raises(UsageError, match="share is in 'm'"):
        ECHO({"ground": Layer(HEIGHTS, "m", ""), "share": Layer(HEIGHTS, "m", "")})
    with pytest.raises(UsageError, match="ground is a ndarray"):
        ECHO({"ground": HEIGHTS})  # type: ignore[dict-item]
    with pytest.raises(UsageError, match="was not given the layer 'ground'"):
        ECHO({})
