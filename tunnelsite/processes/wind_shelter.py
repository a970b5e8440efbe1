"""Shelter from the wind behind trees, hedges and buildings."""

from __future__ import annotations

import numpy as np

from tunnelsite.core.describe import Description, LayerSpec, Parameter
from tunnelsite.core.errors import UsageError
from tunnelsite.core.layers import Layer
from tunnelsite.core.needs import supplied
from tunnelsite.core.process import Inputs, Process, Progress, Values
from tunnelsite.kernels.air import wind_shelter


def winds(text: str) -> tuple[np.ndarray, np.ndarray]:
    """(directions from [deg], shares) of `270:0.6, 300:0.4`; a direction alone has the share 1. Errors: UsageError."""
    found = []
    try:
        for part in text.split(","):
            direction, colon, share = part.partition(":")
            found.append((float(direction), float(share) if colon else 1.0))
    except ValueError:
        found = []
    table = np.array(found or [(np.nan, np.nan)])
    if not (np.isfinite(table).all() and (table[:, 1] >= 0).all() and table[:, 1].sum() > 0):
        raise UsageError(f"winds is {text!r}", "direction:share, such as 270:0.6, 300:0.4", "correct it")
    return table[:, 0] % 360.0, table[:, 1] / table[:, 1].sum()


def _run(inputs: Inputs, parameters: Values, progress: Progress) -> dict[str, Layer]:
    ground, standing = inputs["ground"], inputs["standing_m"]
    away, share = winds(parameters["winds"])
    azimuths = (away - (parameters["bearing_deg"] - 90.0)) % 360.0
    index = wind_shelter.wind_shelter(
        ground.values, standing.values, ground.cell_m[0], azimuths, share, parameters["least_m"]
    )
    progress("wind shelter", 1.0)
    return {"wind_shelter": Layer(index, "1", "Shelter from the wind", ground.cell_m)}


PROCESS = Process(
    Description(
        "wind_shelter",
        "Wind shelter",
        "How well each cell lies in the lee of what stands upwind: 1 within 5 heights of its top, 0.5 at 10, 0 from 30 on, mean "
        "over the winds. Barriers count as dense, hills not at all.",
        reads=(
            LayerSpec("ground", "m", "bare ground"),
            LayerSpec("standing_m", "m", "height of what stands on the ground"),
        ),
        makes=(LayerSpec("wind_shelter", "1", "shelter from the wind, 1 = in full lee"),),
        parameters=(
            supplied("winds"),
            supplied("bearing_deg"),
            Parameter("least_m", "lower things shelter nothing", 1.0, "m", 0.1, 100.0),
        ),
        source="windbreak-nrcs, windbreak-purdue",
    ),
    _run,
)
