"""The house (the structure to be placed) and the pad that is graded for it."""

from __future__ import annotations

import re
from dataclasses import dataclass, replace

from tunnelsite.core.errors import UsageError
from tunnelsite.core.units import FOOT_M, LENGTH_UNITS_M, length_m

KINDS = ("in-ground", "container")
RIDGE_M = 12 * FOOT_M  # of a usual high tunnel; common practice, no source
LEAST_SIDE_M, MOST_SIDE_M = 1.0, 1000.0
_SIZE = re.compile(r"\s*([^x×]+?)\s*[x×]\s*([^x×]+?)\s*", re.IGNORECASE)


@dataclass(frozen=True)
class House:
    """A freestanding high tunnel or greenhouse.

    Attributes:
        width_m: across the ridge [m].
        length_m: along the ridge [m], never less than the width.
        kind: `in-ground` (crops in the field soil) or `container` (pots on a graded base).
        ridge_m: ridge height above the pad [m].
        name: as the user wrote it.
        feet: whether the user works in feet (decides how sheets and reports show lengths).
    """

    width_m: float
    length_m: float
    kind: str = "in-ground"
    ridge_m: float = RIDGE_M
    name: str = ""
    feet: bool = False

    def __post_init__(self) -> None:
        for side in ("width_m", "length_m"):
            value = getattr(self, side)
            if not LEAST_SIDE_M <= value <= MOST_SIDE_M:  # false for NaN too
                raise UsageError(
                    f"{side} of the house is {value}",
                    f"{LEAST_SIDE_M:g} to {MOST_SIDE_M:g} m",
                    "correct the house size",
                )
        if self.width_m > self.length_m:
            raise UsageError(
                f"the house is {self.width_m:g} m wide and {self.length_m:g} m long",
                "width first, then the length along the ridge, which is never the shorter one",
                "swap the two numbers",
            )
        if self.kind not in KINDS:
            raise UsageError(f"kind of house is {self.kind!r}", " or ".join(KINDS), "choose one of these")
        if not 0 < self.ridge_m <= 30:
            raise UsageError(
                f"ridge height is {self.ridge_m} m", "more than 0 and up to 30 m", "correct the ridge height"
            )
        if not self.name:
            object.__setattr__(self, "name", f"{self.width_m:g}x{self.length_m:g}m")

    @classmethod
    def parse(cls, text: str, kind: str = "in-ground") -> House:
        """A house from `30x96ft` or `9.1x29.3m` (width x length; a unit after the second number holds for both).

        Errors: UsageError if the text is not two lengths or the size is out of range.
        """
        match = _SIZE.fullmatch(str(text))
        if not match:
            raise UsageError(
                f"house is {text!r}", "WIDTHxLENGTH with a unit, such as 30x96ft or 9.1x29.3m", "correct the size"
            )
        width, length = match[1], match[2]
        unit = _unit_of(length)
        if not unit:
            raise UsageError(
                f"house is {text!r}, without a unit", "a unit, such as 30x96ft or 9.1x29.3m", "add ft or m"
            )
        if not _unit_of(width):
            width += unit
        limits = {"least_m": LEAST_SIDE_M, "most_m": MOST_SIDE_M}
        return cls(
            width_m=length_m(width, "width of the house", **limits),
            length_m=length_m(length, "length of the house", **limits),
            kind=kind,
            name=re.sub(r"\s+", "", str(text)),
            feet=LENGTH_UNITS_M[unit] in (FOOT_M, FOOT_M / 12),
        )

    def of_kind(self, kind: str) -> House:
        """The same house with another kind."""
        return replace(self, kind=kind)


@dataclass(frozen=True)
class Pad:
    """What gets graded: the footprint plus a level apron [m] all round it."""

    width_m: float
    length_m: float

    @classmethod
    def around(cls, house: House, apron_m: float) -> Pad:
        """The pad of `house` with a level apron of `apron_m` on all four sides."""
        return cls(house.width_m + 2 * apron_m, house.length_m + 2 * apron_m)

    @property
    def area_m2(self) -> float:
        """Plan area [m2]."""
        return self.width_m * self.length_m


def _unit_of(text: str) -> str:
    match = re.search(r"([a-zA-Z'\"-]+)\s*$", text)
    return match[1].lower() if match and match[1].lower() in LENGTH_UNITS_M else ""
