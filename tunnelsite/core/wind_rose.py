"""Where the wind comes from: one prevailing direction, or a rose."""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np

from tunnelsite.core.errors import UsageError

FAN_DEG = (
    -20.0,
    -10.0,
    0.0,
    10.0,
    20.0,
)  # a direction stands for its 45 deg sector; ASCE 7 judges two such sectors [@asce7-sectors]


SECTOR_DEG = 45.0


@dataclass(frozen=True)
class WindRose:
    """Weights of the directions from which wind comes.

    Attributes:
        from_deg: float64 [n], clockwise from true north. share: float64 [n], 0 or more, adding up to 1.
        name, sha256: of the file, where there is one. notes: what was found, assumed or dropped.
    """

    from_deg: np.ndarray
    share: np.ndarray
    name: str = ""
    sha256: str = ""
    notes: tuple[str, ...] = ()

    @classmethod
    def prevailing(cls, from_deg: float) -> WindRose:
        """A rose of one prevailing direction [deg from true north], spread evenly over its 45 degree sector."""
        if not 0 <= from_deg <= 360:  # false for NaN too
            raise UsageError(
                f"wind from is {from_deg} deg", "0 to 360 degrees clockwise from true north", "correct the direction"
            )
        away = (from_deg + np.array(FAN_DEG)) % 360.0
        return cls(
            away, np.full(len(away), 1.0 / len(away)), notes=(f"wind from {from_deg:g} deg, spread over 45 deg",)
        )

    @property
    def main_deg(self) -> float:
        """The direction [deg from true north] round which 45 degrees hold most of the wind; the middle one of several alike."""
        apart = np.abs((self.from_deg[:, None] - self.from_deg + 180.0) % 360.0 - 180.0)
        held = np.round(np.where(apart <= SECTOR_DEG / 2, self.share, 0.0).sum(axis=1), 9)
        best = np.flatnonzero(held == held.max())
        near = np.where(apart <= SECTOR_DEG / 2, apart * self.share, 0.0).sum(axis=1)
        return float(self.from_deg[best[np.argmin(near[best])]])

    def text(self) -> str:
        """The rose as `direction:share, ...`, for the parameter of a process."""
        return ", ".join(f"{a:.12g}:{s:.12g}" for a, s in zip(self.from_deg, self.share, strict=True) if s > 0)
