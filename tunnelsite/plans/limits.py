"""From a frame and a parcel to what bounds the earthwork there."""

from __future__ import annotations

import numpy as np
import shapely

from tunnelsite.core.layers import Features
from tunnelsite.core.site import Frame
from tunnelsite.plans.site_limits import SiteLimits
from tunnelsite.scan.open_ground import bars, inset


def site_limits(frame: Frame, parcel: shapely.Geometry, clearance_m: float, setback_m: float) -> SiteLimits:
    """Limits of earthwork on one parcel.

    Arguments: frame; parcel, in the grid's along and across [m], empty = not known; clearance_m, of structures; setback_m.
    """
    barred = [(f"the keep-out {item.name}", _whole(item)) for item in frame.keep_outs if len(item)]
    if frame.structures is not None and len(frame.structures):
        barred.append(("structures", _whole(frame.structures)))
    services = [(f"the service {name}", _whole(item)) for name, item in frame.services.items() if len(item)]
    if parcel.is_empty:
        return SiteLimits(None, None, tuple(barred), tuple(services))
    room = inset(parcel, setback_m)
    taken = [bar.geometry for bar in bars(frame, clearance_m) if bar.rule != "obstacles"]
    room = shapely.difference(room, shapely.union_all(taken)) if taken else room
    return SiteLimits(parcel, room, tuple(barred), tuple(services))


def _whole(item: Features) -> shapely.Geometry:
    return shapely.union_all(np.asarray(item.geometry, object))
