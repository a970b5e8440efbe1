"""What a layout keeps where nothing else is asked for."""

from __future__ import annotations

from tunnelsite.core.units import FOOT_M

GAP_M = 12 * FOOT_M  # room for snow and a machine between long sides; common practice, no source
AISLE_M = (
    20 * FOOT_M
)  # between the ends of two rows, or along one end of a single row: a tractor turns in; common practice, no source
GIVE_POINTS = (
    2.0  # mean points that may be given up for cheaper trenches: less than a level in the field decides (ours)
)
TIME_LIMIT_S = 60.0
