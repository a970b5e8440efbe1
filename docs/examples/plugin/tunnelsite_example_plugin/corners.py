"""An invented plan, as another package would offer it: how high the ground lies at the corners of a house."""

from __future__ import annotations

from dataclasses import dataclass
from typing import Annotated

import numpy as np
import shapely

from tunnelsite.core.plan_kind import LAYER, Content, PlanKind
from tunnelsite.core.stakes import heights_at
from tunnelsite.core.table import INTEGER, REAL, Heading, Places, table_of
from tunnelsite.plans.candidate import standing
from tunnelsite.plans.plan import Lineage, Plan
from tunnelsite.settings.kinds import Length


@dataclass(frozen=True)
class CornerSettings:
    """Settings of the corners."""

    beyond_m: Annotated[
        float, Length("Beyond", "How far outside the house the corners are taken.", "Corners", 0, 20)
    ] = 0.0


def corners(site, place, settings, progress) -> Plan:
    """Ground heights at the four corners of a house, and how far the highest lies above the lowest."""
    found = standing(site, place)
    half_length, half_width = (side / 2 + settings.beyond_m for side in (place.house.length_m, place.house.width_m))
    u, v = np.array([-1, 1, 1, -1]) * half_length, np.array([-1, -1, 1, 1]) * half_width
    heights = heights_at(found.ground, *found.place.cells(u, v))
    east, north = found.place.grid.to_map(found.place.centre[0] + u, found.place.centre[1] + v)
    points = shapely.points(np.column_stack([east, north]))
    rows = [{"corner": number, "ground_m": height} for number, height in enumerate(heights, 1)]
    columns = {"corner": Heading(INTEGER, "number"), "ground_m": Heading(REAL, "ground", "m")}
    crs = found.place.grid.crs
    table = table_of("corners", "Corners of the house", columns, rows, Places(points, "Point", crs))
    relief = float(np.ptp(heights))
    return Plan(
        CORNERS.id,
        place.title,
        {"relief_m": round(relief, 3) if np.isfinite(relief) else None},
        maps=(table,),
        lineage=Lineage(crs, "Corners of a house."),
        notes=found.notes,
        cautions=("level the site in the field",),
        stem="corners",
        files={"layers": ".gpkg", "summary": ".json"},
    )


CORNERS = PlanKind(
    id="example_corners",
    title="Corners",
    text="Ground heights at the corners of a house.",
    source="invented for this example",
    settings=CornerSettings,
    make=corners,
    gives=(Content("corners", LAYER, "the corners with their heights"),),
)
