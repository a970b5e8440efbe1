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
    "The standard error of the pitch rests on a stated or assumed error of the heights; crops or brush taken for ground are not in it.",
    "Contributing area counts only land inside the elevation data; placements flagged for water or a watercourse from "
    "beyond it have a lower bound: look where it comes from.",
    "Lidar products need not level ponds under about 2 acres (8,000 m2): a farm pond may look like ground. Give ponds as a keep-out.",
    "Streams and ditches are read from the elevation model, which knows no pipes or culverts; this is no flood study.",
    "Shelter from the wind lowers no design load; the hilltop warning screens the ASCE 7 topographic factor, not all of its tests.",
    "Cold air pools on still, clear nights; in wind-borne frost exposed slopes are coldest. Snow drifts in the lee of windbreaks.",
    "Night light counts only the lamps given, alike in all directions unless said otherwise; there is no agreed threshold.",
    "Soil maps are drawn at a coarse scale and hold other soils inside a unit: dig a pit where the house is to stand.",
    "Volumes are in place and from the elevation model; stripped topsoil is not in them.",
)
