"""What every result has to say: the tool screens, it certifies nothing."""

from __future__ import annotations

CAUTIONS = (
    "This is a screening from elevation data, not a survey: confirm every height with a level in the field before ordering earthwork.",
    "Have buried utilities located and marked by the local one-call service before any digging, staking or post driving.",
    "Keep clear of overhead power lines, with the house, its delivery and every machine: ask the utility for the distance that holds.",
    "Ask the local authority about permits, setbacks, floodplain, wetland and easements. Local codes rule over anything said here.",
    "Follow the maker's instructions for the house. Have wind and snow loads, anchoring and grading confirmed by licensed practice.",
    "Keep off septic fields and their reserve area, and keep the distance from wells that the local code asks.",
    "East-west ridges are a default, not a law: sources disagree. Light was judged for the crop months given in this table.",
    "The standard error of the pitch assumes independent errors; those of elevation models are correlated, so it is a lower bound.",
    "Contributing area counts only land inside the elevation data; placements flagged for water from beyond it have a lower bound.",
    "Volumes are in place and from the elevation model; stripped topsoil is not in them.",
)
