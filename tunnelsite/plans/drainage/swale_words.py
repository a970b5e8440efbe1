"""What is reported of a swale and its level spreaders, in plain words and in both systems of units."""

from __future__ import annotations

import math

import shapely

from tunnelsite.core import amounts
from tunnelsite.core.counting import counted, listed
from tunnelsite.plans.drainage.level_spreader import Spreader
from tunnelsite.plans.drainage.swale import SwaleArm
from tunnelsite.plans.place import PlacedHouse

SIDES = ("north", "north-east", "east", "south-east", "south", "south-west", "west", "north-west")
NO_PARCEL = "No parcel is known here: where the water of the swale leaves the land, and to whom, was not checked."
PROVISIONAL = (
    "This swale is PROVISIONAL: no outlet was found whose way off the parcel is known, so whom its water reaches is unknown. Do "
    "not dig it before that way has been followed to a stable outlet, on more land (--halo) or on foot with a level."
)


SPREADER_CARE = (
    "A level spreader works only if its lip is level to a quarter of an inch (15A NCAC 02H .1059), the grass below is dense before water "
    "comes, nothing drives there, and both are looked at after hard rain; else water gathers again and cuts a gully. Local "
    "stormwater rules, NRCS standards (diversion 362, filter strip 393) and licensed practice rule; tell the neighbors below."
)


def spread_words(place: PlacedHouse, one: Spreader) -> str:
    """A level spreader in plain words."""
    feet = place.house.feet
    spot = place.middle_words(one.line)
    more = ""
    if one.times is not None:
        more = " No stretch of the parcel's edge below gets notably more water than now."
        if one.times >= 1.05:  # below that it would read as 1.0 times
            more = f" Stretches of the parcel's edge below get up to {one.times:.1f} times the water of now, spread out, not as a stream."
    return (
        f"The water of {amounts.land(one.area_m2, feet=feet)} is let go over a level lip {amounts.away(one.line.length, feet=feet)} "
        f"long, {spot}, as sheet flow over {amounts.away(one.strip_m, feet=feet)} of grass or more inside the parcel, falling "
        f"{100 * one.steepest:.1f} % at most.{more}"
    )


def refusal(refused: list[str]) -> str:
    """That no swale is offered, why each one was refused, and what to do."""
    advice = "Move the pad, lead the water off in a pipe, or agree on an outlet with the neighbour below."
    return "No swale is offered. " + "; ".join(refused) + ". " + advice


def layout_words(arms: list[SwaleArm], place: PlacedHouse) -> str:
    """A layout: on which sides of the pad its arms run, which tells it from the others, and what there is to dig."""
    dug = amounts.volume(sum(arm.volume_m3 for arm in arms), feet=place.house.feet)
    sides = listed([side_words(place, arm) for arm in arms])
    return f"A swale of {counted(len(arms), 'arm')}, on the {sides} ({dug} to dig)"


def side_words(place: PlacedHouse, arm: SwaleArm) -> str:
    """The side of the house on which the middle of an arm lies, one of eight, by true north."""
    middle = shapely.get_coordinates(shapely.centroid(arm.line))[0]
    (east, north), (east_0, north_0) = place.grid.to_map(*middle), place.grid.to_map(*place.centre)
    way = math.degrees(math.atan2(east - east_0, north - north_0))
    return SIDES[round(way / 45.0) % len(SIDES)]
