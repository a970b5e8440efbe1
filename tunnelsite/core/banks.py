"""The bank over low ground from which on that may be the bed of a river."""

from __future__ import annotations

BANK_M, BANK_WITHIN_M = 1.5, 100.0  # how high it is, and how near it stands (ours)
BED_SHARE = 0.2  # of the bank's height that the ground within that distance may lie lower (ours)
