"""Stakes of a candidate: corners, offsets, apron and a grid of levels, with ground, finish and cut or fill."""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np

OFFSET_M = (
    1.5  # far enough beyond the apron that the tractor leaves the offset stake standing; common practice, no source
)
GRID_M = 3.0  # about 10 ft, the usual grid of levels; common practice, no source


@dataclass(frozen=True)
class DesignPlane:
    """The finished pad: level at the centre [m] and slopes as fractions, positive to the east and north end."""

    level_m: float
    slope_along: float
    slope_across: float

    def height(self, u_m, v_m):
        """Finished height [m] at distances along and across from the centre [m]."""
        return self.level_m + self.slope_along * np.asarray(u_m) + self.slope_across * np.asarray(v_m)


@dataclass(frozen=True)
class Stake:
    """One stake: kind (corner, offset, apron, grid), label, and distances along and across from the centre [m]."""

    kind: str
    label: str
    u_m: float
    v_m: float


def stakes(
    house_size: tuple[float, float], pad_size: tuple[float, float], ends: tuple[str, str, str, str]
) -> list[Stake]:
    """Every stake of one house.

    Arguments: house_size, pad_size (length, width) [m]; ends, words for the start, far end, left and right of the ridge
    (`W`, `E`, `N`, `S` for an east-west ridge).
    """
    start, far, left, right = ends
    corners = [(far, left, 1, 1), (far, right, 1, -1), (start, right, -1, -1), (start, left, -1, 1)]
    found = []
    for end, side, su, sv in corners:
        name = f"{side}{end}" if side in "NS" else f"{end}-{side}"
        u, v = su * house_size[0] / 2, sv * house_size[1] / 2
        pu, pv = su * pad_size[0] / 2, sv * pad_size[1] / 2
        found += [
            Stake("corner", name, u, v),
            Stake("apron", f"{name} apron", pu, pv),
            Stake("offset", f"{name} offset along", pu + su * OFFSET_M, v),
            Stake("offset", f"{name} offset across", u, pv + sv * OFFSET_M),
        ]
    return found + _grid(pad_size)


def _grid(pad_size: tuple[float, float]) -> list[Stake]:
    along = np.linspace(-0.5, 0.5, max(2, round(pad_size[0] / GRID_M) + 1)) * pad_size[0]
    across = np.linspace(0.5, -0.5, max(2, round(pad_size[1] / GRID_M) + 1)) * pad_size[1]
    return [
        Stake("grid", f"{chr(65 + i) if i < 26 else f'R{i + 1}'}{j + 1}", float(u), float(v))
        for i, v in enumerate(across)
        for j, u in enumerate(along)
    ]


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
