"""Amounts as the page shows them: short, in the user's own unit alone."""

from __future__ import annotations

import math
import re
from dataclasses import dataclass

from tunnelsite.core.amounts import ACRE_M2, HECTARE_M2, LEAST_ACRES, YARD3_M3
from tunnelsite.core.units import FOOT_M, INCH_M

NOT_KNOWN = "not known"
_METRES = re.compile(r"(?<![\w.])(\d+(?:\.\d+)?) m\b(?!²|³)")
PER_12_FT = 144.0  # inches in 12 ft


@dataclass(frozen=True)
class Units:
    """Feet or metres, for words."""

    feet: bool

    @property
    def unit(self) -> str:
        """Of lengths."""
        return "ft" if self.feet else "m"

    def plain(self, value_m: float) -> str:
        """A length as it can be typed: `12 ft`, `9.84 ft`, `3 m`."""
        feet = value_m / FOOT_M
        return f"{round(feet, 2 if feet < 20 else 0):.10g} ft" if self.feet else f"{round(value_m, 2):.10g} m"

    def height(self, value_m: float) -> str:
        """A height of something: `12 ft`, `3.7 m`."""
        return self._known(value_m, f"{value_m / FOOT_M:.3g} ft" if self.feet else f"{value_m:.3g} m")

    def level(self, value_m: float) -> str:
        """A height above the datum: `496.4 ft`, `151.30 m`."""
        return self._known(value_m, f"{value_m / FOOT_M:.1f} ft" if self.feet else f"{value_m:.2f} m")

    def away(self, value_m: float) -> str:
        """A distance: `62 ft`, `19 m`."""
        if not math.isfinite(value_m):
            return NOT_KNOWN
        amount = value_m / FOOT_M if self.feet else value_m
        return f"{amount:.1f} {self.unit}" if abs(amount) < 10 else f"{amount:,.0f} {self.unit}"

    def depth(self, value_m: float) -> str:
        """A small height: `4 in.`, `10 cm`."""
        if not math.isfinite(value_m):
            return NOT_KNOWN
        if abs(value_m) >= 1:
            return self.height(value_m)
        amount = value_m / INCH_M if self.feet else 100 * value_m
        digits = 1 if 0 < abs(amount) < 9.95 else 0
        return f"{amount:.{digits}f} {'in.' if self.feet else 'cm'}"

    def land(self, value_m2: float) -> str:
        """An area of land: `6 acres`, `0.4 ha`."""
        if not math.isfinite(value_m2):
            return NOT_KNOWN
        if self.feet:
            acres = value_m2 / ACRE_M2
            return f"{_two(acres)} acres" if acres >= LEAST_ACRES else f"{value_m2 / FOOT_M**2:,.0f} sq ft"
        return f"{_two(value_m2 / 1e4)} ha" if value_m2 >= HECTARE_M2 else f"{value_m2:,.0f} m²"

    def volume(self, value_m3: float) -> str:
        """Earth: `5.5 cu yd`, `4.2 m³`."""
        amount = value_m3 / YARD3_M3 if self.feet else value_m3
        return self._known(value_m3, f"{amount:.1f} {'cu yd' if self.feet else 'm³'}")

    def pitch(self, value_pct: float) -> str:
        """A pitch: `0.6 in. per 12 ft (0.4 %)`, `4 mm per m (0.4 %)`."""
        inches = abs(value_pct) / 100 * PER_12_FT
        first = f"{inches:.1f} in. per 12 ft" if self.feet else f"{10 * abs(value_pct):.0f} mm per m"
        return self._known(value_pct, f"{first} ({abs(value_pct):.1f} %)")

    def in_own_units(self, words: str) -> str:
        """A sentence with its metres in the user's unit."""
        return _METRES.sub(lambda found: self.away(float(found[1])), words) if self.feet else words

    def _known(self, value: float, words: str) -> str:
        return words if math.isfinite(value) else NOT_KNOWN


def _two(value: float) -> str:
    """Two figures, and never a power of ten."""
    return f"{value:,.0f}" if value >= 9.95 else f"{value:.2g}"
