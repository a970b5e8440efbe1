"""Land so steep that what comes down it can reach a house: no criterion looks at that, so the answer says so."""

from __future__ import annotations

import numpy as np

from tunnelsite.core.site import Frame
from tunnelsite.screening.not_assessed import Gap

STEEP_DEG = 30.0  # on gentler ground few avalanches and rockfalls begin; common practice, no source
LEAST_M2 = (
    10_000.0  # banks, walls and terraces hold less of it: real farms and towns on gentle land have up to 0.4 ha (ours)
)
STEP_M = 10.0  # slopes over less are those of banks and walls


def steep_gaps(frame: Frame) -> list[Gap]:
    """The hazards of the mountainside where the land that was read has one; else nothing."""
    step = max(1, round(STEP_M / frame.grid.cell_m))
    run_m = step * frame.grid.cell_m
    ground = frame.ground[::step, ::step]
    if min(ground.shape) < 2:
        return []
    slope = np.hypot(*np.gradient(ground.astype(np.float64), run_m))
    steep_m2 = float(np.count_nonzero(slope >= np.tan(np.radians(STEEP_DEG)))) * run_m**2
    if steep_m2 < LEAST_M2:
        return []
    land = f"{steep_m2 / 10_000:,.0f} ha of the land read are {STEEP_DEG:.0f} degrees or steeper"
    return [Gap(f"rockfall, avalanches, land slips and debris flows ({land}: ask the authority for its hazard map)")]
