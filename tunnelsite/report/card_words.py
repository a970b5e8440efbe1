"""What a measure means for a builder: one plain sentence per criterion."""

from __future__ import annotations

from collections.abc import Callable, Mapping
from typing import Any

from tunnelsite.core import amounts
from tunnelsite.core.criterion import Criterion
from tunnelsite.core.rubric import Rubric
from tunnelsite.core.soil_classes import CLASSES
from tunnelsite.core.units import MONTHS

Row = Mapping[str, Any]
# Tiers of pitch [@pitch-tolerance] [@pitch-umass] [@pitch-nrcs-pennsylvania].
TIERS = (
    (100 / 192, "already as level as a finished pad"),
    (2.0, "buildable with little grading"),
    (5.0, "minor grading first"),
    (float("inf"), "level it before you build"),
)


def measure_words(
    criterion: Criterion, rubric: Rubric, value: float | None, row: Row, *, feet: bool, unseen: str = ""
) -> str:
    """One sentence on a measure.

    Arguments: criterion; rubric; value, None = not assessed; row, the candidate's columns; feet, whether the user works in feet;
    unseen, what the criterion could not look at, in words.
    """
    if value is None:
        return f"{criterion.description.title}: not assessed"
    if unseen:
        return f"{measure_words(criterion, rubric, value, row, feet=feet)}; not in it: {unseen}"
    if criterion.id.startswith("reach_"):
        name = criterion.id.removeprefix("reach_")
        return f"{name.capitalize()} is {amounts.away(value, feet=feet)} away in a straight line"
    maker = WORDS.get(criterion.id)
    if maker is not None:
        return maker(value, row, feet)
    unit = criterion.description.unit
    shown = f"{value:.3g} {unit}" if unit not in ("", "1") else f"{value:.3g}"
    return f"{criterion.description.title}: {shown} (full marks at {rubric.full_at:g}, none at {rubric.none_at:g})"


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
    if amounts.depth(value, feet=feet).startswith("0 "):
        return "Grading takes no cut that the elevation model can show"
    return f"Grading cuts {amounts.depth(value, feet=feet)} deep at most"


def _earth(value: float, row: Row, feet: bool) -> str:
    return f"{amounts.volume(row['cut_m3'], feet=feet)} of earth to cut and {amounts.volume(row['fill_m3'], feet=feet)} to fill on the pad"


def _drainage(value: float, row: Row, feet: bool) -> str:
    return f"Rain off {amounts.land(value, feet=feet)} of land uphill runs through the pad"


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
    way = "well sheltered" if value >= 0.7 else "partly sheltered" if value >= 0.2 else "open to the wind"
    return f"It lies {way}: shelter {value:.2f} of 1 from the winds given"


def _cold(value: float, row: Row, feet: bool) -> str:
    if value < 0.05:
        return "It lies in no hollow where cold air would pool"
    return f"Cold air can pool {amounts.depth(value, feet=feet)} deep on still, clear nights"


def _low_ground(value: float, row: Row, feet: bool) -> str:
    if value < 0.5:
        return "It lies no lower than the land round it, so cold air drains away"
    return f"It lies {amounts.depth(value, feet=feet)} lower than the land round it, to where cold air drains at night"


def _hilltop(value: float, row: Row, feet: bool) -> str:
    if value < 1.05:
        return "No hilltop or brow speeds the wind up there"
    return f"Wind pressure is about {value:.1f} times that of open ground there, over a hilltop or brow"


def _night(value: float, row: Row, feet: bool) -> str:
    return f"Lamps shine {value:.2g} lx on the leaves at night at the brightest spot"


def _soil(value: float, row: Row, feet: bool) -> str:
    name = CLASSES[round(value)] if 0 <= round(value) < len(CLASSES) else f"class {value:g}"
    return f"The soil map says {name}, at its wettest under the pad"


def _bearing(value: float, row: Row, feet: bool) -> str:
    return f"The ridge is turned {value:.0f}° from the bearing asked for"


def _room(value: float, row: Row, feet: bool) -> str:
    if value >= 99.5:  # the measure ends there
        return f"Nothing stands within {amounts.away(100.0, feet=feet)} of the house"
    return f"{amounts.away(value, feet=feet)} of room round the house for snow, vents and machines"


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
    "bearing": _bearing,
    "snow_room": _room,
}
