"""Stakes of a house: corners, offsets, apron, a grid of levels, ground posts, batter boards, a 3-4-5 line and a bench
mark."""

from __future__ import annotations

import math
from dataclasses import dataclass
from typing import Any

import numpy as np

from tunnelsite.core.errors import UsageError
from tunnelsite.core.stake_distances import BENCH_M, BOARD_M, OFFSET_M, POST_M
from tunnelsite.core.units import FOOT_M

GRID_M = 3.0  # about 10 ft, the usual grid of levels; common practice, no source


@dataclass(frozen=True)
class DesignPlane:
    """The finished pad: level at the centre [m] and slopes as fractions, positive to the east and north end."""

    level_m: float
    slope_along: float
    slope_across: float

    def height(self, u_m: Any, v_m: Any) -> Any:
        """Finished height [m] at distances along and across from the centre [m]."""
        return self.level_m + self.slope_along * np.asarray(u_m) + self.slope_across * np.asarray(v_m)


@dataclass(frozen=True)
class Stake:
    """One stake: kind, label, and distances along and across from the centre [m].

    Kinds: corner, offset, apron, grid; and where they are asked for: post, board, square, bench.
    """

    kind: str
    label: str
    u_m: float
    v_m: float


@dataclass(frozen=True)
class RightAngle:
    """A 3-4-5 triangle at one corner of the house: legs 4k along the ridge and 3k across it, 5k between their ends.

    Attributes: corner, its name; along_m, across_m, hypotenuse_m [m]; stakes, the ends of the two legs.
    """

    corner: str
    along_m: float
    across_m: float
    hypotenuse_m: float
    stakes: tuple[Stake, Stake]


def stakes(
    house_size: tuple[float, float],
    pad_size: tuple[float, float],
    ends: tuple[str, str, str, str],
    offset_m: float = OFFSET_M,
) -> list[Stake]:
    """Corner, apron, offset and grid stakes of one house.

    Arguments: house_size, pad_size (length, width) [m]; ends, words for the start, far end, left and right of the ridge
    (`W`, `E`, `N`, `S` for an east-west ridge); offset_m, of the offset stakes beyond the pad.
    """
    found = []
    for name, su, sv in _corners(ends):
        u, v = su * house_size[0] / 2, sv * house_size[1] / 2
        pu, pv = su * pad_size[0] / 2, sv * pad_size[1] / 2
        found += [
            Stake("corner", name, u, v),
            Stake("apron", f"{name} apron", pu, pv),
            Stake("offset", f"{name} offset along", pu + su * offset_m, v),
            Stake("offset", f"{name} offset across", u, pv + sv * offset_m),
        ]
    return found + _grid(pad_size)


def posts(
    house_size: tuple[float, float], ends: tuple[str, str, str, str], spacing_m: float = POST_M
) -> tuple[list[Stake], float]:
    """Ground posts along both long sides, corners included, in equal spaces never wider than asked for.

    Wider spaces would weaken the frame, so a length that does not divide gets one space more.

    Arguments: house_size (length, width) [m]; ends, as in `stakes`; spacing_m [m], the widest space wanted.
    Returns: posts, numbered from the start of each side; the space between them [m].
    Errors: UsageError for a spacing that is not between 0.3 m and the length of the house.
    """
    length, width = house_size
    if not 0.3 <= spacing_m <= length:  # false for NaN too
        raise UsageError(
            f"post spacing is {spacing_m} m", f"0.3 to {length:g} m (the length)", "take the maker's spacing"
        )
    spaces = math.ceil(length / spacing_m - 1e-9)
    places = np.linspace(-length / 2, length / 2, spaces + 1)
    sides = ((ends[2], width / 2), (ends[3], -width / 2))
    found = [Stake("post", f"{side} post {k + 1}", float(u), v) for side, v in sides for k, u in enumerate(places)]
    return found, length / spaces


def batter_boards(
    house_size: tuple[float, float],
    pad_size: tuple[float, float],
    ends: tuple[str, str, str, str],
    beyond_m: float = BOARD_M,
) -> list[Stake]:
    """Where the strings of the house lines cross their batter boards: two boards at each corner, one for each string.

    Arguments: house_size, pad_size (length, width) [m]; ends, as in `stakes`; beyond_m [m], from the edge of the pad.
    Errors: UsageError if the boards would not stand clear of the offset stakes.
    """
    if not OFFSET_M + 0.3 <= beyond_m <= 30:
        raise UsageError(
            f"batter boards {beyond_m} m beyond the pad", f"{OFFSET_M + 0.3:g} to 30 m", "correct the distance"
        )
    found = []
    for name, su, sv in _corners(ends):
        u, v = su * house_size[0] / 2, sv * house_size[1] / 2
        found += [
            Stake("board", f"{name} board, side string", su * (pad_size[0] / 2 + beyond_m), v),
            Stake("board", f"{name} board, end string", u, sv * (pad_size[1] / 2 + beyond_m)),
        ]
    return found


def bench_mark(pad_size: tuple[float, float], beyond_m: float = BENCH_M) -> Stake:
    """A bench mark off the work, beyond the left side of the pad and level with its start (a proposal: move it to
    firm ground)."""
    return Stake("bench", "BM", -pad_size[0] / 2, pad_size[1] / 2 + beyond_m)


def right_angle(house_size: tuple[float, float], ends: tuple[str, str, str, str], unit_m: float = FOOT_M) -> RightAngle:
    """The largest 3-4-5 triangle of whole units that fits the house, at the start of its right-hand long side.

    Where not even 3 and 4 units fit, tenths of a unit are taken.

    Arguments: house_size (length, width) [m]; ends, as in `stakes`; unit_m [m], the tape's unit (foot or metre).
    Source: converse of Pythagoras (3^2 + 4^2 = 5^2); the longer the triangle, the less an error of reading turns it.
    """
    room = min(house_size[1] / 3, house_size[0] / 4) / unit_m + 1e-9
    k = (math.floor(room) if room >= 1 else math.floor(10 * room) / 10) * unit_m
    name = _corner_name(ends[0], ends[3])
    u, v = -house_size[0] / 2, -house_size[1] / 2
    legs = (Stake("square", f"{name} 4 leg", u + 4 * k, v), Stake("square", f"{name} 3 leg", u, v + 3 * k))
    return RightAngle(name, 4 * k, 3 * k, 5 * k, legs)


def end_words(bearing_deg: float) -> tuple[str, str, str, str]:
    """Words for start, far end, left and right of a ridge with this bearing: compass letters where they are true."""
    eighth = round(bearing_deg / 45) % 8
    names = ("N", "NE", "E", "SE", "S", "SW", "W", "NW")
    return names[(eighth + 4) % 8], names[eighth], names[(eighth - 2) % 8], names[(eighth + 2) % 8]


def heights_at(ground: np.ndarray, rows: np.ndarray, cols: np.ndarray) -> np.ndarray:
    """Ground [m] at fractional cell positions (whole = centres), bilinear, NaN where a neighbour is missing."""
    top = np.clip(np.floor(rows).astype(int), 0, ground.shape[0] - 2)
    left = np.clip(np.floor(cols).astype(int), 0, ground.shape[1] - 2)
    down, right = rows - top, cols - left
    upper = ground[top, left] * (1 - right) + ground[top, left + 1] * right
    lower = ground[top + 1, left] * (1 - right) + ground[top + 1, left + 1] * right
    outside = (down < 0) | (down > 1) | (right < 0) | (right > 1)
    return np.where(outside, np.nan, upper * (1 - down) + lower * down)


def _grid(pad_size: tuple[float, float]) -> list[Stake]:
    along = np.linspace(-0.5, 0.5, max(2, round(pad_size[0] / GRID_M) + 1)) * pad_size[0]
    across = np.linspace(0.5, -0.5, max(2, round(pad_size[1] / GRID_M) + 1)) * pad_size[1]
    return [
        Stake("grid", f"{chr(65 + i) if i < 26 else f'R{i + 1}-'}{j + 1}", float(u), float(v))
        for i, v in enumerate(across)
        for j, u in enumerate(along)
    ]


def _corners(ends: tuple[str, str, str, str]) -> list[tuple[str, int, int]]:
    """(name, sign along, sign across) of the corners, clockwise from the left at the far end."""
    start, far, left, right = ends
    corners = [(far, left, 1, 1), (far, right, 1, -1), (start, right, -1, -1), (start, left, -1, 1)]
    return [(_corner_name(end, side), su, sv) for end, side, su, sv in corners]


def _corner_name(end: str, side: str) -> str:
    if side in ("N", "S"):
        return f"{side}{end}"
    return f"{end}{side}" if end in ("N", "S") else f"{end}-{side}"
