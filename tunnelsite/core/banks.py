"""The bank over low ground from which on that may be the bed of a river."""

from __future__ import annotations

BANK_M, BANK_WITHIN_M = 1.5, 100.0  # how high it is, and how near it stands (ours)
BED_SHARE = 0.2  # of the bank's height that the ground within that distance may lie lower (ours)
FREEBOARD_M = 0.3048  # the margin that floors are kept above a flood [@freeboard]; less above the water itself is no margin at all


def may_be_bed(height_m: float | None, away_m: float | None) -> bool:
    """Whether what is known of a place's height above the line that it drains to, and of its distance from any, leaves room for a
    river's bed or its flood plain. Arguments: None = not known."""
    if away_m is None and height_m is not None:
        return False  # a line that is known to be far enough
    return (height_m or 0.0) < FREEBOARD_M and not away_m
