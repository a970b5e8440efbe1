"""What may be asked of a report."""

from __future__ import annotations

from dataclasses import dataclass
from typing import Annotated

from tunnelsite.settings.kinds import Flag, Text, Whole

PAGE = "Page"
CARDS, CLIENT_CARDS = 10, 3


@dataclass(frozen=True)
class ReportSettings:
    """Settings of a report."""

    client: Annotated[bool, Flag("For the client", "The short version, to hand over.", PAGE)] = False
    cards: Annotated[
        int | None,
        Whole("Cards", "Candidates that get a card of their own, best first.", PAGE, 0, 200,
              without=f"{CARDS}, {CLIENT_CARDS} for the client"),
    ] = None  # fmt: skip
    title: Annotated[str | None, Text("Title", "Heading of the page.", PAGE, without="the parcels' file")] = None

    @property
    def most_cards(self) -> int:
        """How many candidates get a card."""
        if self.cards is not None:
            return self.cards
        return CLIENT_CARDS if self.client else CARDS
