"""What may be asked of a report."""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from dataclasses import dataclass, field
from typing import Annotated, Literal

from tunnelsite.plans.kinds import Hours
from tunnelsite.settings.kinds import ByName, Choice, File, Flag, Several, Text, Whole

PAGE, OPTIONS = "Page", "Options shown"
CARDS, CLIENT_CARDS = 10, 3


@dataclass(frozen=True)
class ReportSettings:
    """Settings of a report."""

    client: Annotated[bool, Flag("For the client", "The short version, to hand over.", PAGE)] = False
    cards: Annotated[
        int | None,
        Whole("Cards", "Candidates that get a card of their own, best first.", PAGE, 0, 200,
              without=f"{CARDS}, {CLIENT_CARDS} for the client, all that are chosen"),
    ] = None  # fmt: skip
    title: Annotated[str | None, Text("Title", "Heading of the page.", PAGE, without="made from the house")] = None
    prepared_for: Annotated[str | None, Text("Prepared for", "Client or farm, as printed under the title.", PAGE)] = (
        None
    )
    prepared_by: Annotated[str | None, Text("Prepared by", "Author, as printed under the title.", PAGE)] = None
    date: Annotated[
        str | None, Text("Date", "Date on the page, as you write it.", PAGE, without="the day it is made")
    ] = None
    logo: Annotated[str | None, File("Logo", "Your own logo, a PNG or JPEG file, for the head of the page.", PAGE)] = (
        None
    )
    paper: Annotated[
        Literal["A4", "Letter"] | None,
        Choice("Paper", "Paper for printing.", PAGE, without="Letter where the house is in feet, else A4"),
    ] = None
    utc_offset_h: Annotated[
        float | None,
        Hours("Clock", "Tell the times of the sun charts by a clock so many hours ahead of UTC all year, as -5.", PAGE, -15.0, 15.0,
              without="solar time"),
    ] = None  # fmt: skip
    layout: Annotated[
        str | None,
        File("Layout", "The picture (SVG) that `layout` wrote of several houses together, shown after the map.", PAGE),
    ] = None
    ranks: Annotated[
        Sequence[str],
        Several("Ranks", "Ranks to show, in this order, as 1,4,7; they are lettered A, B, C.", OPTIONS, split=True,
                metavar="RANK,..."),
    ] = field(default_factory=list)  # fmt: skip
    names: Annotated[
        Sequence[str],
        Several("Names", "Names of the options chosen by rank, in their order, with commas.", OPTIONS, split=True,
                metavar="NAME,..."),
    ] = field(default_factory=list)  # fmt: skip
    place: Annotated[
        Mapping[str, str],
        ByName("Pinned place", "A place of your own among those that pass every rule: its middle in WGS 84 degrees, and where "
              "several were screened its ridge bearing and house; shown after the ranks. A name such as `C: by the lane` sets the letter.",
              OPTIONS, metavar="NAME=LON,LAT[,BEARING[,HOUSE]]"),
    ] = field(default_factory=dict)  # fmt: skip
    note: Annotated[
        Mapping[str, str],
        ByName("Note", "Your note on an option, by its letter (or rank where none are chosen).", OPTIONS,
              metavar="OPTION=TEXT"),
    ] = field(default_factory=dict)  # fmt: skip
    photo: Annotated[
        Mapping[str, str],
        ByName("Photos", "Photos of an option, JPEG or PNG files with commas between them, by its letter.", OPTIONS, files=True,
              metavar="OPTION=FILE,..."),
    ] = field(default_factory=dict)  # fmt: skip

    @property
    def chosen(self) -> bool:
        """Whether the options are chosen by hand."""
        return bool(self.ranks or self.place)

    @property
    def most_cards(self) -> int:
        """How many candidates get a card."""
        if self.cards is not None:
            return self.cards
        return 200 if self.chosen else CLIENT_CARDS if self.client else CARDS
