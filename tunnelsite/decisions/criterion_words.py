"""What a measure means for a builder: one plain sentence per criterion, the same in every host."""

from __future__ import annotations

from collections.abc import Callable, Mapping
from functools import partial
from typing import Any

from tunnelsite.core import amounts
from tunnelsite.core.criterion import Criterion
from tunnelsite.core.rubric import Rubric
from tunnelsite.core.units import MONTHS
from tunnelsite.criteria.soils import class_words, group_words

Row = Mapping[str, Any]
REACH = "reach_"
NO_CUT = "Grading takes no cut that the elevation model can show"
FULL_MOON_LX = 0.1  # [@moon-kyba]
# Tiers of pitch [@pitch-tolerance] [@pitch-umass] [@pitch-nrcs-pennsylvania].
TIERS = (
    (100 / 192, "already as level as a finished pad"),
    (2.0, "buildable with little grading"),
    (5.0, "minor grading first"),
    (float("inf"), "level it before you build"),
)


def criterion_words(
    criterion: Criterion, rubric: Rubric, value: float | None, row: Row, *, feet: bool, unseen: str = ""
) -> str:
    """One sentence on a measure.

    Arguments: criterion; rubric; value, None = not assessed; row, the candidate's columns; feet, whether the user works in feet;
    unseen, what the criterion could not look at, in words.
    """
    if value is None:
        return f"{criterion.description.title}: not assessed"
    said = value_words(criterion, value, row, feet=feet, unseen=unseen)
    if criterion.id in WORDS or criterion.id.startswith(REACH):
        return said
    told = _in_its_unit(criterion, feet)
    return (
        f"{criterion.description.title}: {said} (full marks at {told(rubric.full_at)}, none at {told(rubric.none_at)})"
    )


def value_words(criterion: Criterion, value: float, row: Row, *, feet: bool, unseen: str = "") -> str:
    """What a measure means, as it stands after the criterion's title. Arguments: as `criterion_words`; row, empty for a place that is
    no candidate."""
    more = f"; not in it: {unseen}" if unseen else ""
    if criterion.id.startswith(REACH):
        name = criterion.id.removeprefix(REACH)
        return f"{name.capitalize()} is {amounts.away(value, feet=feet)} away in a straight line{more}"
    maker = WORDS.get(criterion.id)
    return (_in_its_unit(criterion, feet)(value) if maker is None else maker(value, row, feet)) + more


def _in_its_unit(criterion: Criterion, feet: bool) -> Callable[[float], str]:
    return criterion.words or partial(amounts.measured, unit=criterion.description.unit, feet=feet)


def _pitch(value: float, row: Row, feet: bool) -> str:
    tier = next(words for most, words in TIERS if value <= most)
    return f"The ground slopes {value:.2f} % at its steepest: {tier}"


def _roughness(value: float, row: Row, feet: bool) -> str:
    return f"The ground is {'smooth' if value <= 0.05 else 'uneven'}: on average {amounts.depth(value, feet=feet)} off its own plane"


def _crown(value: float, row: Row, feet: bool) -> str:
    if abs(value) < 0.005:
        return "The middle is level with the long sides"
    high = value > 0
    if high and value < 0.025:
        return f"The middle lies only {amounts.depth(value, feet=feet)} above the long sides: it sheds water slowly"
    return (
        f"The middle lies {amounts.depth(abs(value), feet=feet)} {'above' if high else 'below'} the long sides: "
        f"{'it sheds water' if high else 'water gathers inside unless it is filled'}"
    )


def _cut(value: float, row: Row, feet: bool) -> str:
    return _cut_words(value, feet, "deep at most")


def _cut_words(depth_m: float, feet: bool, how: str) -> str:
    deep = amounts.depth(depth_m, feet=feet)
    return NO_CUT if deep.startswith("0 ") else f"Grading cuts {deep} {how}"


def _earth(value: float, row: Row, feet: bool) -> str:
    if row.get("cut_m3") is None:  # of a place that is no candidate
        return _cut_words(value, feet, "off the pad on average")
    return f"{amounts.volume(row['cut_m3'], feet=feet)} of earth to cut and {amounts.volume(row['fill_m3'], feet=feet)} to fill on the pad"


def _drainage(value: float, row: Row, feet: bool) -> str:
    return f"The largest run of water through the pad is the rain off {amounts.land(value, feet=feet)} of land"


def _above_line(value: float, row: Row, feet: bool) -> str:
    if value < 0:
        return "It lies below the level of the stream, ditch or swale that it drains to"
    return f"It stands {amounts.depth(value, feet=feet)} above the stream, ditch or swale that it drains to"


def _from_line(value: float, row: Row, feet: bool) -> str:
    far = f"{amounts.away(value, feet=feet)}{' or more' if value >= 199.5 else ''}"  # the measure ends there
    return f"The nearest stream, ditch or swale is {far} away"


def _beside(value: float, row: Row, feet: bool) -> str:
    if value <= 0:
        return "No stream or swale passes close by at its level"
    return f"Rain off {amounts.land(value, feet=feet)} of land passes close by, not well below it"


def _ponding(value: float, row: Row, feet: bool) -> str:
    if value < 0.01:
        return "No water stands there by the elevation model"
    noise = ", no more than the model's own noise" if value <= 0.10 else ""
    return f"Water can stand {amounts.depth(value, feet=feet)} deep before it finds a way out{noise}"


def _sun(value: float, row: Row, feet: bool) -> str:
    if value > 0.9995:
        return "All of the direct sun of the crop months reaches it"
    month = MONTHS[row["worst_month"] - 1].capitalize() if row.get("worst_month") else "the darkest crop month"
    season = "" if row.get("beam_share") is None else f", {100 * row['beam_share']:.0f} % over all crop months"
    return f"{100 * value:.0f} % of the direct sun of {month} reaches it{season}"


def _season_sun(value: float, row: Row, feet: bool) -> str:
    return f"{100 * value:.1f} % of the direct sun of all crop months reaches it"


def _noon(value: float, row: Row, feet: bool) -> str:
    return f"{100 * value:.0f} % of the house is in the sun at noon in midwinter"


def _wind(value: float, row: Row, feet: bool) -> str:
    way = "well sheltered from" if value >= 0.7 else "partly sheltered from" if value >= 0.2 else "open to"
    return f"It lies {way} the winds given, with {amounts.percent(value)} of the shelter close behind a hedge"


def _cold(value: float, row: Row, feet: bool) -> str:
    if value < 0.05:
        return "It lies in no hollow where cold air would pool"
    return f"Cold air can pool {amounts.depth(value, feet=feet)} deep on still, clear nights"


def _low_ground(value: float, row: Row, feet: bool) -> str:
    if value <= -0.5:
        return f"It lies {amounts.size(-value, feet=feet)} higher than the land round it, so cold air drains away"
    if value < 0.5:
        return "It lies no lower than the land round it, so cold air drains away"
    return f"It lies {amounts.depth(value, feet=feet)} lower than the land round it, to where cold air drains at night"


def _hilltop(value: float, row: Row, feet: bool) -> str:
    if value < 1.05:
        return "No hilltop or brow speeds the wind up there"
    return f"Wind pressure is about {value:.1f} times that of open ground there, over a hilltop or brow"


def _night(value: float, row: Row, feet: bool) -> str:
    if value < 0.005:
        return "No lamp that was given lights it at night"
    moon = ", no more than a full moon" if value <= FULL_MOON_LX else ""
    return f"Lamps shine {value:.2g} lx on the leaves at night at the brightest spot{moon}"


def _soil(value: float, row: Row, feet: bool) -> str:
    return f"The soil map says {class_words(value)}, at its wettest under the pad"


def _soil_group(value: float, row: Row, feet: bool) -> str:
    return f"The soil map says hydrologic group {group_words(value)}, at its slowest under the pad"


def _bearing(value: float, row: Row, feet: bool) -> str:
    return f"The ridge is turned {value:.0f}° from the bearing asked for"


def _room(value: float, row: Row, feet: bool) -> str:
    if value >= 99.5:  # the measure ends there
        return f"Nothing stands within {amounts.away(100.0, feet=feet)} of the house"
    return f"{amounts.away(value, feet=feet)} of room round the house for snow, vents and machines"


def _standing(value: float, row: Row, feet: bool) -> str:
    if value < 0.005:
        return "Nothing stands on the pad by the surface model"
    return f"The surface model shows something {amounts.depth(value, feet=feet)} high on the pad"


def _windbreak(value: float, row: Row, feet: bool) -> str:
    far = "30 or more" if value >= 29.95 else f"{value:.1f}"  # the measure ends there
    return f"The nearest tree, hedge or building is {far} of its own heights away"


WORDS: Mapping[str, Callable[[float, Row, bool], str]] = {
    "pitch": _pitch,
    "roughness": _roughness,
    "crown": _crown,
    "deepest_cut": _cut,
    "earthwork": _earth,
    "drainage": _drainage,
    "ponding": _ponding,
    "drainage_height": _above_line,
    "drainage_distance": _from_line,
    "flow_beside": _beside,
    "sun": _sun,
    "season_sun": _season_sun,
    "noon": _noon,
    "wind": _wind,
    "cold_air": _cold,
    "low_ground": _low_ground,
    "hilltop": _hilltop,
    "night_light": _night,
    "soils": _soil,
    "soil_group": _soil_group,
    "standing": _standing,
    "windbreak": _windbreak,
    "bearing": _bearing,
    "snow_room": _room,
}
