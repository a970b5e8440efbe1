"""An invented criterion and an invented process, as another package would offer them; `lime` reads a raster of its own."""

from __future__ import annotations

import numpy as np

from tunnelsite.core.criterion import Criterion
from tunnelsite.core.describe import Description, LayerSpec, Parameter
from tunnelsite.core.layers import Layer
from tunnelsite.core.process import Process
from tunnelsite.core.rubric import Rubric

GROUND = LayerSpec("ground", "m", "bare ground")


def relief(site, share: float) -> np.ndarray:
    """Share of the highest minus the lowest ground [m] under the pad."""
    return share * (site.pad_max("ground") - site.pad_min("ground"))


def height_band(inputs, parameters, progress) -> dict[str, Layer]:
    """Number of the height band each cell lies in."""
    ground = inputs["ground"]
    bands = np.floor(ground.values / parameters["step_m"]).astype(np.float32)
    return {"height_band": Layer(bands, "1", "number of the height band", ground.cell_m)}


RELIEF = Criterion(
    Description(
        "example_relief",
        "Relief of the pad",
        "How far the highest ground of the pad is above the lowest.",
        reads=(GROUND,),
        parameters=(Parameter("share", "share of the relief that counts", 1.0, least=0.0, most=1.0),),
        source="invented for this example",
        unit="m",
    ),
    relief,
    {"any": Rubric(full_at=0.2, none_at=2.0, weight=0.5, source="invented for this example")},
)
HEIGHT_BAND = Process(
    Description(
        "example_height_band",
        "Height bands",
        "Numbers bands of equal height.",
        reads=(GROUND,),
        makes=(LayerSpec("height_band", "1", "number of the height band"),),
        parameters=(Parameter("step_m", "height of a band", 1.0, "m", least=0.01, most=1000.0),),
        source="invented for this example",
    ),
    height_band,
)
