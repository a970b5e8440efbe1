"""What to ask before anything is bought, permitted or dug: office by office, from what the run knows and does not know.

The rules of the United States that are named: [@floodplain-44cfr], [@stormwater-40cfr], [@powerlines-29cfr].
"""

from __future__ import annotations

from dataclasses import dataclass
from typing import TYPE_CHECKING

from tunnelsite.core import amounts
from tunnelsite.report.plain_words import file_words

if TYPE_CHECKING:
    from tunnelsite.screening.result import Result


@dataclass(frozen=True)
class Ask:
    """Questions to one office or trade: who; questions, each a sentence."""

    who: str
    questions: tuple[str, ...]


def asks(result: Result) -> list[Ask]:
    """The questions of a run. Local codes rule; what holds for the United States only is marked so, with its source."""
    settings, site = result.settings, result.site
    feet = result.scans[0].house.feet
    setback = amounts.size(settings.setback_m, feet=feet)
    clearance = amounts.size(settings.clearance_m, feet=feet)
    kept = ", ".join(file_words(item.name) for item in site.keep_outs)
    used = f"A setback of {setback} was used here" if settings.setback_m > 0 else "No setback was used here"
    return [
        Ask(
            "Planning and building office",
            (
                f"Which setbacks hold from each side of the parcel? {used}.",
                "Is a permit needed for the house, for grading, for electricity, heating and water, and is there an exemption "
                "for farms? Some exemptions hang on the width, the cover, or on existing drainage staying as it is.",
                f"Which distances hold from other buildings, for fire and for snow? {clearance} was kept from structures.",
                "Are there easements, covenants or planned roads on this land?",
            ),
        ),
        Ask(
            "Floodplain, wetland and soil conservation offices",
            (
                "Is the spot in a mapped flood hazard area or wetland? Where it is, grading and filling need a permit too "
                "(United States: 44 CFR 59.1 and 60.3).",
                "May a swale or drain lead water to the outlet planned here, and who lies below it?",
                "How much land may be disturbed without a stormwater permit? (United States: 1 acre or more needs cover "
                "under the construction permit, 40 CFR 122.26(b)(15).)",
                *((f"These were kept clear of here: {kept}. Are the maps they come from complete?",) if kept else ()),
                *(
                    ()
                    if kept
                    else (
                        "Nothing to keep clear of was given to this run: floodplain, ponds, wetland and easements are not judged.",
                    )
                ),
            ),
        ),
        Ask(
            "One-call service and utilities",
            (
                "Have all buried lines located and marked before any digging, staking or post driving.",
                "What distance must the house, its delivery and every machine keep from overhead lines? (United States, "
                "equipment: 10 ft up to 50 kV and more above, 29 CFR 1926.1408 table A.)",
                "Can water, power and fuel be brought to the spot, by which trench, and how deep must it lie for frost?",
            ),
        ),
        Ask(
            "Health department",
            ("Where are septic fields with their reserve area, and wells, and which distances hold from each?",),
        ),
        Ask(
            "Maker of the house and licensed practice",
            (
                "Which wind and snow loads hold at this spot, on this hill, and is the house with its anchors made for them?",
                "Who confirms grading, drainage and any retaining before earth is moved?",
            ),
        ),
    ]


FIELD = (
    "Walk the spot after heavy rain, and on a still, frosty morning.",
    "Level the four corners and the middle: every height here is from an elevation model.",
    "Sweep the horizon with a clinometer from east over south to west (the other way round south of the equator), and hold it "
    "against the sun chart.",
    "Dig a pit to the depth of the roots and look for grey mottles, which mean standing water.",
    "Stake the corners and check both diagonals before anything is ordered.",
)
