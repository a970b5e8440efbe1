"""Usual distances of posts, batter boards and bench mark; settings read them before anything heavy is loaded."""

from __future__ import annotations

from tunnelsite.core.units import FOOT_M

POST_M = 4 * FOOT_M  # ground posts every 4 ft; common practice, no source: the maker's drawing rules
OFFSET_M, OFFSET_FT_M = (
    1.5,
    5 * FOOT_M,
)  # beyond the apron, so that the tractor leaves the stake standing; common practice, no source
BOARD_M = 2.4  # batter boards stand beyond the offset stakes, clear of the blade; common practice, no source
BENCH_M = 6.0  # bench mark beyond the pad, where no machine works; common practice, no source
