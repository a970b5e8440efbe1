"""What may be asked of a cost table."""

from __future__ import annotations

from dataclasses import dataclass
from typing import Annotated

from tunnelsite.settings.kinds import Length, Number, Whole
from tunnelsite.settings.prices import PriceList, Prices

MONEY, EARTH = "Money", "Earth"
DRAWS = 200  # as a grading plan, so that both tell the same interval


@dataclass(frozen=True)
class CostSettings:
    """Settings of a cost table. No price is ours: what has none has no cost."""

    price: Annotated[
        Prices | None,
        PriceList("Prices", "Your own unit prices of earthwork, topsoil, base, clearing, of trenches by service, and of the road.", MONEY,
                  without="those of the project, or none"),
    ] = None  # fmt: skip
    topsoil_m: Annotated[float, Length("Topsoil", "Depth stripped from ground that is graded.", EARTH, 0.0, 1.0)] = 0.15
    base_m: Annotated[
        float, Length("Base", "Depth of the compacted base under a container house.", EARTH, 0.0, 1.0)
    ] = 0.0
    base_loose: Annotated[
        float, Number("Loose base", "Loose cubic metres to order for one of compacted base.", EARTH, 1.0, 2.0)
    ] = 1.0
    draws: Annotated[
        int, Whole("Draws", "Draws of the elevation error for the interval of the earthwork.", EARTH, 20, 10_000)
    ] = DRAWS
