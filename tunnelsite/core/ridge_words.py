"""The bearing of a ridge in words."""

from __future__ import annotations

WAYS = ("north-south", "northeast-southwest", "east-west", "southeast-northwest")
NEARLY_DEG = 2.5


def ridge_words(bearing_deg: float) -> str:
    """`east-west`; with the bearing where it is no main direction: `63° from true north (northeast-southwest)`."""
    turned = bearing_deg % 180.0
    way = round(turned / 45.0)
    if abs(turned - 45.0 * way) <= NEARLY_DEG and way % 2 == 0:
        return WAYS[way % 4]
    return f"{turned:.0f}° from true north ({WAYS[way % 4]})"
