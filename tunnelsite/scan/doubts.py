"""Whether the elevations are those of bare ground."""

from __future__ import annotations

import numpy as np
from scipy import ndimage

from tunnelsite.core.site import Frame

# Bare ground that was looked at (lidar and photogrammetry, 1 to 40 m, with cliffs and terraces) has up to 0.1 % of its cells on top of
# walls, and several times as many below them; surface models of towns, fields and river banks have 10 to 35 % on top.
SURFACE_LIKE = "heights may be of roofs and crowns"  # flag of every candidate of a model that is doubted
LEAST_SHARE, LEAST_THINGS, ONE_SIDED = 0.003, 3, 4.0


def doubt_surface(frame: Frame, name: str) -> None:
    """Let the frame say whether its model holds what stands on the ground. Arguments: frame, with its layer `raised`; name of the file."""
    doubts = _surface_doubts(frame, name)
    frame.surface_like = bool(doubts)
    frame.doubts += doubts


def _surface_doubts(frame: Frame, name: str) -> list[str]:
    raised = frame.layers.get("raised")
    if raised is None:
        return []
    known = np.count_nonzero(np.isfinite(frame.ground))
    above, below = np.count_nonzero(raised == 1), np.count_nonzero(raised == -1)
    if above < LEAST_SHARE * known or above < ONE_SIDED * below:
        return []
    things = ndimage.label(raised == 1, structure=np.ones((3, 3), bool))[1]
    if things < LEAST_THINGS:
        return []
    share = float(f"{100 * above / known:.1g}")
    return [
        f"{name} looks like a surface model, not bare ground: {share:g} % of it stands in walls 2 m or more above what lies round it, as "
        "roofs and trees do. No house is offered on these, but brush, crops and vehicles are still taken for ground. Give the terrain "
        "model (DTM) as DEM and this one as --surface"
    ]
