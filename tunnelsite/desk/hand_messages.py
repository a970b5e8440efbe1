"""Messages on the house in the hand: where it is held, tapped, pinned and handed over."""

from __future__ import annotations

from pydantic import Field

from tunnelsite.desk.messages import Letter, Message, Place

GROUND_ONLY, NOT_SEARCHED = "ground only", "not searched"  # what is told of a place before there is a screening


class Hand(Message):
    """Where the house in the hand stands; `seq` counts the steps of one page; `months`, other crop months to try at this place."""

    lon: float = Field(ge=-180, le=180)
    lat: float = Field(ge=-90, le=90)
    bearing_deg: float = Field(ge=-360, le=360)
    house: str = Field(max_length=60)
    seq: int = 0
    months: str | None = Field(default=None, max_length=40)


class Tap(Message):
    """A place that was tapped."""

    lon: float = Field(ge=-180, le=180)
    lat: float = Field(ge=-90, le=90)


class PinGiven(Message):
    """A place to keep, with a name and a note."""

    place: Place
    name: str = Field(default="", max_length=80)
    note: str = Field(default="", max_length=2000)


class PacketAsked(Message):
    """Which pinned options go into a packet."""

    letters: list[Letter] = Field(min_length=1, max_length=3)


class PhoneAsked(Message):
    """Which pinned option is shown on a phone."""

    letter: Letter
