"""Amounts as a report tells them: in the user's own system first, in the other one in brackets."""

from __future__ import annotations

from tunnelsite.core.units import FOOT_M, INCH_M, feet_inches

YARD3_M3 = (3 * FOOT_M) ** 3
ACRE_M2 = 43_560 * FOOT_M**2
HECTARE_M2 = 10_000.0
LEAST_ACRES = 0.2  # two figures of less hide 400 square feet


def _both(feet: bool, imperial: str, metric: str) -> str:
    return f"{imperial} ({metric})" if feet else f"{metric} ({imperial})"


def size(value_m: float, *, feet: bool) -> str:
    """A length that is built or dug, to the half inch and the centimetre: `12 ft 6 1/2 in (3.82 m)`."""
    return _both(feet, feet_inches(value_m, 2), f"{value_m:.2f} m")


def away(value_m: float, *, feet: bool) -> str:
    """A distance on the land, to the foot and the metre (finer below 10 m): `131 ft (40 m)`."""
    fine = f"{100 * value_m:.0f} cm" if abs(value_m) < 0.95 else f"{value_m:.1f} m"
    metric = fine if abs(value_m) < 9.95 else f"{value_m:,.0f} m"
    imperial = feet_inches(value_m, 1) if abs(value_m) < 3 else f"{value_m / FOOT_M:,.0f} ft"
    return _both(feet, imperial, metric)


def depth(value_m: float, *, feet: bool) -> str:
    """A small height, to the quarter inch and the centimetre: `1 1/4 in (3 cm)`."""
    if abs(value_m) >= 1:
        return size(value_m, feet=feet)
    return _both(feet, feet_inches(value_m, 4), f"{100 * value_m:.0f} cm")


def volume(value_m3: float, *, feet: bool) -> str:
    """Earth: `5.5 yd³ (4.2 m³)`."""
    return _both(feet, _figure(value_m3 / YARD3_M3) + " yd³", _figure(value_m3) + " m³")


def land(value_m2: float, *, feet: bool) -> str:
    """An area of land: `0.25 acres (1,000 m²)`."""
    metric = f"{value_m2:,.0f} m²" if value_m2 < HECTARE_M2 else f"{value_m2 / HECTARE_M2:.1f} ha"
    return _both(feet, _acres(value_m2), metric)


def more_land(now_m2: float, was_m2: float, *, feet: bool) -> str:
    """Land that grew: `0.5 acres (2,023 m²) instead of ...`, or by how much where both would read alike."""
    now, was = land(now_m2, feet=feet), land(was_m2, feet=feet)
    return f"{now} instead of {was}" if now != was else f"{land(now_m2 - was_m2, feet=feet)} more than {was}"


def _acres(value_m2: float) -> str:
    acres = _rounded(value_m2 / ACRE_M2, 2)
    if value_m2 < LEAST_ACRES * ACRE_M2:
        return f"{value_m2 / FOOT_M**2:,.0f} sq ft"
    return f"{acres} acre{'' if acres == '1' else 's'}"


def _rounded(value: float, figures: int) -> str:
    """A number of so many figures, written out: `720` and `1,200`, never `7.2e+02`."""
    short = f"{value:.{figures}g}"
    return f"{float(short):,.0f}" if "e+" in short else short


def speed(value_m_s: float, *, feet: bool) -> str:
    """How fast water runs: `5.0 ft/s (1.5 m/s)`."""
    return _both(feet, f"{value_m_s / FOOT_M:.1f} ft/s", f"{value_m_s:.1f} m/s")


def flow(value_m3_s: float, *, feet: bool) -> str:
    """A flow of water: `1.4 cfs (40 l/s)`."""
    return _both(feet, f"{_rounded(value_m3_s / FOOT_M**3, 2)} cfs", f"{_rounded(1000 * value_m3_s, 3)} l/s")


def level(value_m: float, *, feet: bool) -> str:
    """A height above the data's datum, to the hundredth of a foot and the centimetre: `662.40 ft (201.90 m)`."""
    return _both(feet, f"{value_m / FOOT_M:.2f} ft", f"{value_m:.3f} m")


def slope(percent: float) -> str:
    """A slope with its sign: `+0.30 %`."""
    return f"{percent:+.2f} %"


def drop(percent: float, run_m: float, *, feet: bool) -> str:
    """What a slope comes to over a length: `5 3/4 in (15 cm)`."""
    return depth(abs(percent) / 100 * run_m, feet=feet)


def _figure(value: float) -> str:
    return f"{value:.1f}" if abs(value) < 100 else f"{value:,.0f}"


def signed_depth(value_m: float, *, feet: bool) -> tuple[str, str]:
    """Cut (+) or fill (-) in the user's own system and in the other one: `+1 1/4 in`, `+3 cm`."""
    sign = "+" if value_m > 0 else "−" if value_m < 0 else ""
    own, other = f"{feet_inches(abs(value_m), 4)}", f"{100 * abs(value_m):.0f} cm"
    shown = tuple(words if words in ("0 in", "0 cm") else sign + words for words in (own, other))
    return (shown[0], shown[1]) if feet else (shown[1], shown[0])


def height(value_m: float, *, feet: bool) -> str:
    """A round height on a map, in the user's own unit alone: `645.5 ft`."""
    return (
        f"{value_m / FOOT_M:.2f}".rstrip("0").rstrip(".") + " ft"
        if feet
        else f"{value_m:.2f}".rstrip("0").rstrip(".") + " m"
    )


def in_unit(value: float, unit: str | None, *, feet: bool, figures: str = "g") -> str:
    """A measure in its own unit; who works in feet sees feet, inches, acres or yards first: `2 ft (0.6096 m)`.

    Arguments: value; unit, SI, "1" or None = none; feet; figures, how the number in that unit is written (a format of Python).
    """
    shown = f"{value:{figures}}" + ("" if unit in (None, "", "1") else f" {unit}")
    if unit == "m2" and abs(value) >= HECTARE_M2:
        shown = f"{value / HECTARE_M2:{figures}} ha"
    if not feet or unit not in ("m", "m2", "m3"):
        return shown
    if unit == "m3":
        return f"{_figure(value / YARD3_M3)} yd³ ({shown})"
    if unit == "m2":
        return f"{_acres(value)} ({shown})"
    tape = f"{value / FOOT_M:,.0f} ft" if abs(value) >= 10 else feet_inches(value, 4 if abs(value) < 1 else 2)
    return f"{tape} ({shown})"


def relaxed(value: float, limit: float, unit: str, *, feet: bool) -> str:
    """A limit that is relaxed, in words: `up to 0.3 m, now 0.15 m`, `down to 3 m, now 5 m`. Arguments: value; limit, as it is; unit."""
    to, now = (in_unit(one, unit, feet=feet) for one in (value, limit))
    return f"{'up' if value >= limit else 'down'} to {to}, now {now}"


def percent(share: float) -> str:
    """A share, 0..1: `97 %`; what is not quite everything is never 100 %."""
    return "99.9 %" if 0.9985 <= share < 0.9995 else f"{100 * share:.0f} %"


def yes_or_no(value: float) -> str:
    """A measure that is 1 where something holds."""
    return "yes" if value >= 0.5 else "no"


def measured(value: float, unit: str | None, *, feet: bool) -> str:
    """A measure for people, in both systems of units and no more figures than it deserves: `1 1/4 in (3 cm)`, `12 acres (5.0 ha)`.

    Arguments: value; unit, SI, "1" or None = none; feet, which system comes first.
    """
    makers = {"m2": land, "m3": volume}
    if unit == "m":
        maker = depth if abs(value) < 1 else size if abs(value) < 10 else away
        return maker(value, feet=feet)
    if unit in makers:
        return makers[unit](value, feet=feet)
    if unit == "0-1":
        return percent(value)
    if unit == "%":
        return f"{value:.2f}".rstrip("0").rstrip(".") + " %"
    figures = f"{value:.0f}" if abs(value) >= 100 else f"{value:.2g}" if abs(value) >= 1e-4 else "0"
    return figures if unit in (None, "", "1") else f"{figures} {unit}"


def step(value_m: float, *, feet: bool) -> str:
    """A round interval, of contours for instance: `0.5 ft (0.15 m)`."""
    return _both(feet, f"{value_m / FOOT_M:.2g} ft", f"{value_m:.2g} m")


def inches(value_m: float) -> float:
    """Inches of metres."""
    return value_m / INCH_M
