"""The user's own unit prices. None of ours: what has no price has no cost."""

from __future__ import annotations

import math
from collections.abc import Iterable, Mapping
from dataclasses import dataclass
from typing import Any

from tunnelsite.core.errors import UsageError
from tunnelsite.core.units import FOOT_M, number
from tunnelsite.settings.kinds import Setting, _metavar

YARD_M = 3 * FOOT_M
# What a price may be given for: SI amounts of one of its units.
UNITS = {
    "m": {"m": 1.0, "ft": FOOT_M, "yd": YARD_M},
    "m2": {"m2": 1.0, "ft2": FOOT_M**2, "yd2": YARD_M**2, "ha": 1e4, "acre": 43_560 * FOOT_M**2},
    "m3": {"m3": 1.0, "ft3": FOOT_M**3, "yd3": YARD_M**3},
}
# Work other than the way to a service, and what it is measured in. Any other name is a service, by the length of its trench (`road`: of
# the way in).
WORK = {"earthwork": "m3", "topsoil": "m3", "base": "m3", "clearing": "m2"}
EXPECTED = "NAME=AMOUNT/UNIT, such as earthwork=12/yd3, clearing=900/acre, water=4/ft or road=30/m"


@dataclass(frozen=True)
class Price:
    """One unit price. Attributes: name of the work or service; amount, money for one SI unit; unit, `m`, `m2` or `m3`; given, as
    the user wrote it."""

    name: str
    amount: float
    unit: str
    given: str


@dataclass(frozen=True)
class Prices:
    """Unit prices by name, each once."""

    items: tuple[Price, ...] = ()

    @classmethod
    def parse(cls, **given: str) -> Prices:
        """Prices by name, as `Prices.parse(earthwork="9/m3", water="40/m")`. Errors: UsageError."""
        return cls(tuple(read_price(name, text) for name, text in given.items()))

    def of(self, name: str) -> Price | None:
        """The price of a work or service; None = no price was given."""
        return next((one for one in self.items if one.name == name), None)

    def ways(self) -> dict[str, float]:
        """Money for a metre of way to each service that has a price."""
        return {one.name: one.amount for one in self.items if one.name not in WORK}

    def words(self) -> list[str]:
        """As the user gave them: NAME=AMOUNT/UNIT."""
        return [f"{one.name}={one.given}" for one in self.items]

    def check_services(self, services: Iterable[str]) -> None:
        """Errors: UsageError for a price of a service that the run does not have."""
        known = list(services)
        for name in self.ways():
            if name not in known:
                raise UsageError(
                    f"there is a price for {name!r}",
                    f"{_work_words()}, or a service of this run by the length of its trench ({', '.join(known) or 'it has none'})",
                    "correct the name, or name the service with --service",
                )


def _work_words() -> str:
    """The kinds of work that may have a price, each with what it is measured by."""
    measured = {"m3": "volume", "m2": "area"}
    return ", ".join(f"{name} (by {measured[kind]})" for name, kind in WORK.items())


def read_price(name: str, text: Any) -> Price:
    """A unit price from words such as 12/yd3. Errors: UsageError."""
    amount, slash, unit = str(text).rpartition("/")
    unit = unit.strip().replace("²", "2").replace("³", "3")
    kind = WORK.get(name, "m")
    sizes = UNITS[kind]
    if not slash or unit not in sizes:
        expected = f"an amount for one of {', '.join(sizes)}: {EXPECTED}"
        fix = "correct it" if name in WORK else f"correct it; names that are no service are {_work_words()}"
        raise UsageError(f"the price of {name} is {str(text)!r}", expected, fix)
    found = number(amount.strip(), f"price of {name}") / sizes[unit]
    if not (found > 0 and math.isfinite(found)):
        raise UsageError(f"the price of {name} is {str(text)!r}", "a price above 0", "correct it, or leave it out")
    return Price(name, found, kind, f"{amount.strip()}/{unit}")


@dataclass(frozen=True)
class PriceList(Setting):
    """Unit prices: NAME=AMOUNT/UNIT on the command line, repeated; a table of NAME = "AMOUNT/UNIT" in a project file and in JSON."""

    metavar: str = _metavar("NAME=AMOUNT/UNIT")

    def read(self, value: Any, what: str) -> Prices:
        """The prices, from a table or from a list of texts."""
        if isinstance(value, Prices):
            return value
        pairs = list(value.items()) if isinstance(value, Mapping) else [_pair(text, what) for text in _texts(value)]
        names = [name for name, _ in pairs]
        if len(set(names)) < len(names):
            raise UsageError(f"{what} names {', '.join(names)}", "each name once", "leave the double one out")
        return Prices(tuple(read_price(name, text) for name, text in pairs))

    def schema(self) -> dict[str, Any]:
        return {"type": "object", "additionalProperties": {"type": "string", "maxLength": 60}}

    def shown(self, value: Prices) -> str:
        return ", ".join(value.words()) or "none"


def _texts(value: Any) -> list[str]:
    return [value] if isinstance(value, str) else list(value)


def _pair(text: str, what: str) -> tuple[str, str]:
    name, equals, price = str(text).partition("=")
    if not equals or not name.strip():
        raise UsageError(f"{what} is {text!r}", EXPECTED, "correct it")
    return name.strip(), price
