"""What a grading plan is asked for, and the finished shape of the pad above its design plane."""

from __future__ import annotations

from dataclasses import dataclass, field

import numpy as np
from numpy.typing import ArrayLike

from tunnelsite.core.errors import UsageError
from tunnelsite.core.house import House
from tunnelsite.kernels.terrain.grading import FINISHED_SLOPE
from tunnelsite.plans.grading.side_slopes import SlopeRule

BALANCES = ("pad", "whole", "none")


@dataclass(frozen=True)
class EarthRule:
    """How a pad is to be graded. Defaults without a source named here are common practice, no source.

    Attributes:
        max_slope: largest finished slope of the plane in either direction [fraction]; 3/4 in per 12 ft.
        shrink: cubic metres of cut that make one of compacted fill.
        balance: `pad` (cut of the pad makes its fill), `whole` (side slopes counted in) or `none` (least earth moved,
            what is over or short is carried).
        deepest_cut_m: limit on the pad's cut at any cell centre [m], or None.
        rule: side slopes.
        topsoil_m: depth stripped from all disturbed ground [m]; put back on side slopes, and on the pad of an in-ground house.
        base_m: depth of the stone-dust or gravel base over a container house's pad [m], compacted.
        base_loose: loose cubic metres to order for one of compacted base.
        crown: fall from the ridge line to each long side [fraction], container houses only.
        apron_fall: fall of the apron away from the house [fraction]; the model building code's 5 % over 10 ft is for
            foundations [@apron-irc]. 0 keeps the apron in the plane.
    """

    max_slope: float = FINISHED_SLOPE
    shrink: float = 1.0
    balance: str = "pad"
    deepest_cut_m: float | None = None
    rule: SlopeRule = field(default_factory=SlopeRule)
    topsoil_m: float = 0.15
    base_m: float = 0.0
    base_loose: float = 1.0
    crown: float = 0.0
    apron_fall: float = 0.0

    def __post_init__(self) -> None:
        if self.balance not in BALANCES:
            raise UsageError(f"balance is {self.balance!r}", " or ".join(BALANCES), "choose one of these")
        ranges = {"topsoil_m": 1.0, "base_m": 1.0, "crown": 0.1, "apron_fall": 0.25}
        for name, most in ranges.items():
            if not 0 <= getattr(self, name) <= most:
                raise UsageError(f"{name} is {getattr(self, name)}", f"0 to {most:g}", "correct it")
        if not 1 <= self.base_loose <= 2:
            raise UsageError(f"base_loose is {self.base_loose}", "1 to 2 loose m3 per compacted m3", "correct it")

    def checked_for(self, house: House) -> EarthRule:
        """These settings if they suit the kind of house. Errors: UsageError."""
        if house.kind != "container" and (self.crown > 0 or self.base_m > 0):
            raise UsageError(
                f"a crown of {self.crown:g} and a base of {self.base_m:g} m for an {house.kind} house",
                "0 for both: crops grow in the field soil",
                "drop them, or make it a container house",
            )
        return self

    @property
    def across_limit(self) -> float:
        """Largest tilt of the plane across the width; with a crown no more than leaves both sides falling."""
        return min(self.max_slope, self.crown) if self.crown > 0 else self.max_slope


def fixed_shape(house: House, settings: EarthRule, u_m: ArrayLike, v_m: ArrayLike) -> np.ndarray:
    """Finished height above the design plane that is fixed beforehand [m]: minus the crown's and the apron's fall.

    Arguments: house; settings; u_m, v_m, distances along and across from the centre [m].
    The crown is two planes that fall from the ridge line; the apron falls with the distance from the nearest wall (the
    farther one at corners, so that its faces are plane and meet on the diagonals).
    """
    u, v = np.abs(u_m), np.abs(v_m)
    beyond = np.maximum(np.maximum(u - house.length_m / 2, v - house.width_m / 2), 0.0)
    return np.asarray(-settings.crown * v - settings.apron_fall * beyond)
