"""An own raster on its way through a screening: a map of the soil's pH, a process on it, and a criterion on what that makes.

tunnelsite screen dem.tif parcels.gpkg --layer soil_ph=ph.tif@pH --rasters layers
"""

from __future__ import annotations

import numpy as np

from tunnelsite.core.criterion import Criterion
from tunnelsite.core.describe import Description, LayerSpec, Parameter
from tunnelsite.core.layers import Layer
from tunnelsite.core.needs import supplied
from tunnelsite.core.process import Process
from tunnelsite.core.rubric import Rubric

SOIL_PH = LayerSpec("soil_ph", "pH", "pH of the topsoil")
LIME_KG_M2 = LayerSpec("lime_kg_m2", "kg/m2", "lime that raises the topsoil to the wanted pH")


def lime(inputs, parameters, progress) -> dict[str, Layer]:
    """Lime for each cell; where the pH is not known, neither is the lime."""
    ph = inputs["soil_ph"]
    short = np.maximum(parameters["wanted_ph"] - ph.values, 0.0)
    progress("lime", 1.0)
    title = f"Lime, at {parameters['latitude_deg']:.1f} deg north"  # a fact of the site, told because it is declared
    return {"lime_kg_m2": Layer((parameters["kg_m2"] * short).astype(np.float32), "kg/m2", title, ph.cell_m)}


def lime_wanted(site) -> np.ndarray:
    """Mean over the footprint of the lime that it takes [kg/m2]."""
    return site.footprint_mean("lime_kg_m2")


LIME = Process(
    Description(
        "example_lime",
        "Lime",
        "How much lime the topsoil takes.",
        reads=(SOIL_PH,),
        makes=(LIME_KG_M2,),
        parameters=(
            Parameter("wanted_ph", "wanted pH", 6.5, "pH", least=3.0, most=9.0),
            Parameter("kg_m2", "lime for each step of pH", 0.3, "kg/m2", least=0.0, most=10.0),
            supplied("latitude_deg"),
        ),
        source="invented for this example",
    ),
    lime,
)
LIME_WANTED = Criterion(
    Description(
        "example_lime_wanted",
        "Lime that the soil takes",
        "How much lime raises the soil under the house to a pH of 6.5.",
        reads=(LIME_KG_M2,),
        source="invented for this example",
        unit="kg/m2",
    ),
    lime_wanted,
    {"any": Rubric(full_at=0.0, none_at=0.6, weight=1.0, source="invented for this example")},
    needs=("layer:soil_ph",),  # without the raster it is left out, and the answer says so
)
