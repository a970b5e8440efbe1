"""Amounts as people write them (`30 ft`, `3/4 in per 12 ft`, `0.5 %`, `10 Oct`) turned into SI, and back into words."""

from __future__ import annotations

import math
import re
from collections.abc import Mapping

from tunnelsite.core.errors import UsageError

FOOT_M = 0.3048  # international foot, exact by definition (1959)
US_SURVEY_FOOT_M = 1200.0 / 3937.0  # US survey foot, exact by definition (1893)
INCH_M = FOOT_M / 12.0

# People write lengths in these; "us-ft" only matters for map coordinates but is harmless here.
LENGTH_UNITS_M = {
    "m": 1.0, "metre": 1.0, "metres": 1.0, "meter": 1.0, "meters": 1.0,
    "mm": 0.001, "cm": 0.01, "km": 1000.0,
    "ft": FOOT_M, "foot": FOOT_M, "feet": FOOT_M, "'": FOOT_M,
    "us-ft": US_SURVEY_FOOT_M,
    "in": INCH_M, "inch": INCH_M, "inches": INCH_M, '"': INCH_M,
    "yd": 3 * FOOT_M, "mi": 5280 * FOOT_M,
}  # fmt: skip
VERTICAL_UNITS_M = {"m": 1.0, "ft": FOOT_M, "us-ft": US_SURVEY_FOOT_M, "dm": 0.1, "cm": 0.01}
VERTICAL_UNIT_WORDS = "m, ft, us-ft, dm or cm"
MONTHS = ("jan", "feb", "mar", "apr", "may", "jun", "jul", "aug", "sep", "oct", "nov", "dec")
MONTH_DAYS = (31, 28, 31, 30, 31, 30, 31, 31, 30, 31, 30, 31)

_NUMBER = r"[-+]?(?:\d+\s+\d+/\d+|\d+/\d+|\d+\.?\d*(?:[eE][-+]?\d+)?|\.\d+|inf|nan)"
_PLAIN = re.compile(r"[-+]?(?:\d+\.?\d*|\.\d+)(?:e[-+]?\d+)?|[-+]?(?:inf|infinity|nan)", re.IGNORECASE | re.ASCII)
_AMOUNT = re.compile(rf"\s*({_NUMBER})\s*([a-zA-Z'\"%-]*)\s*", re.IGNORECASE)


def number(text: str, what: str) -> float:
    """The finite number in `text`, which may be a fraction such as `3/4` or `1 1/2`.

    Arguments: text; what [words], the name of the setting for the message.
    Errors: UsageError for a decimal comma, NaN, infinity or anything that is not a number.
    """
    shown = str(text).strip()
    if "," in shown:
        raise UsageError(f"{what} is {shown!r}, with a comma", "a decimal point", f"write {shown.replace(',', '.')!r}")
    try:
        total = 0.0
        for part in shown.split():
            top, slash, bottom = part.partition("/")
            if not all(_PLAIN.fullmatch(digits) for digits in ((top, bottom) if slash else (top,))):
                raise ValueError  # float() also takes 1_000 and the digits of other scripts
            total += float(top) / float(bottom) if bottom else float(top)
        if not shown:
            raise ValueError
    except (ValueError, ZeroDivisionError):
        raise UsageError(f"{what} is {shown!r}", "a number, such as 30 or 3/4", "correct the number") from None
    if not math.isfinite(total):
        raise UsageError(f"{what} is {shown!r}", "a finite number", "correct the number")
    return total


def whole_number(text: str | float, what: str, least: int, most: int) -> int:
    """The whole number in `text`. Errors: UsageError naming what it is of and the range, both ends included."""
    shown = str(text).strip()
    expected = f"a whole number from {least} to {most}"
    if isinstance(text, bool) or not re.fullmatch(r"[-+]?\d{1,19}(?:\.0*)?", shown, re.ASCII):
        raise UsageError(f"{what} is {shown!r}", expected, "correct the number")
    found = int(shown.partition(".")[0])
    if not least <= found <= most:
        raise UsageError(f"{what} is {shown}", expected, "correct the number")
    return found


def length_m(text: str | float, what: str = "length", *, least_m: float = 0.0, most_m: float = 1e7) -> float:
    """A length in metres from `30ft`, `9.1 m`, `6'`, `30ft 6in` or a bare number of metres.

    Arguments: text; what [words]; least_m, most_m [m], the accepted range, both ends included.
    Errors: UsageError naming the setting, its value and the range.
    """
    total, position, shown = 0.0, 0, str(text).strip()
    if "," in shown:
        number(shown, what)
    while position < len(shown) or not shown:
        match = _AMOUNT.match(shown, position)
        unit = match and (match[2].lower() or "m")
        if not match or unit not in LENGTH_UNITS_M:
            raise UsageError(
                f"{what} is {shown!r}",
                "a length such as 30ft, 9.1 m or 6 in",
                "give a number and a unit (m, cm, ft, in)",
            )
        total += number(match[1], what) * LENGTH_UNITS_M[unit]
        position = match.end()
    if not least_m <= total <= most_m:
        raise UsageError(f"{what} is {shown!r} ({total:g} m)", f"{least_m:g} to {most_m:g} m", "correct the length")
    return total


def slope_fraction(text: str | float, what: str = "slope") -> float:
    """A slope as rise over run from `0.5 %`, `1/192`, `3/4 in per 12 ft`, `2 deg` or a bare fraction.

    Errors: UsageError if it is none of these, negative or 1 (45 deg) and above.
    """
    shown = str(text).strip()
    rise, per, run = shown.partition(" per ")
    if per:
        value = length_m(rise, what) / length_m(run, what, least_m=1e-6)
    elif shown.endswith("%"):
        value = number(shown[:-1], what) / 100.0
    elif shown.lower().endswith(("deg", "°")):
        value = math.tan(math.radians(number(shown.lower().removesuffix("deg").removesuffix("°"), what)))
    else:
        value = number(shown, what)
    if not 0.0 <= value < 1.0:
        raise UsageError(
            f"{what} is {shown!r}", "a slope from 0 up to 100 %, such as 0.5 % or 3/4 in per 12 ft", "correct it"
        )
    return value


COMPASS = ("n", "nne", "ne", "ene", "e", "ese", "se", "sse", "s", "ssw", "sw", "wsw", "w", "wnw", "nw", "nnw")


def angle_deg(text: str | float, what: str) -> float:
    """Degrees clockwise from true north, from `75`, a compass word (`NW`, `south-west`) or both ends of a ridge (`E-W`: that of the
    end which lies in the eastern half, or at north).

    Errors: UsageError for anything else.
    """
    shown = str(text).strip()
    words = re.sub(r"north", "n", re.sub(r"south", "s", re.sub(r"east", "e", re.sub(r"west", "w", shown.lower()))))
    if words.replace("-", "") in COMPASS:
        return 22.5 * COMPASS.index(words.replace("-", ""))
    ends = [COMPASS.index(end) for end in words.split("-") if end in COMPASS]
    if len(ends) == 2 and words.count("-") == 1 and abs(ends[0] - ends[1]) == 8:
        return 22.5 * min(ends)
    if re.search(r"[a-z]", words) and not _PLAIN.fullmatch(shown):  # 1e-05 is a number
        raise UsageError(f"{what} is {shown!r}", "degrees such as 75, a compass word such as NW, or E-W", "correct it")
    return number(shown, what)


def month_day(text: str, what: str = "crop months", alone: int | None = None) -> tuple[int, int]:
    """(month, day) from `10-01`, `10 Oct` or `Oct 10`.

    Arguments: text; what, the setting's name for the message; alone, the day that a month by itself stands for, 31 = its last
    one; None = a month by itself is no day. Errors: UsageError for anything else or a day that does not exist.
    """
    shown = str(text).strip()
    match = re.fullmatch(r"(\d{1,2})-(\d{1,2})", shown, re.ASCII)
    if match:
        month, day = int(match[1]), int(match[2])
    else:
        words = shown.lower().replace(".", "").split()
        names = [word[:3] for word in words if word[:3] in MONTHS]
        digits = [word for word in words if re.fullmatch(r"\d{1,2}", word, re.ASCII)]
        if alone is not None and len(words) == len(names) == 1:
            month = MONTHS.index(names[0]) + 1
            return month, min(alone, MONTH_DAYS[month - 1])
        if len(words) != 2 or len(names) != 1 or len(digits) != 1:
            raise UsageError(f"{what} holds {shown!r}", "month-day such as 10-01 or 1 Oct", "correct the date")
        month, day = MONTHS.index(names[0]) + 1, int(digits[0])
    if not 1 <= month <= 12 or not 1 <= day <= MONTH_DAYS[month - 1] + (month == 2):
        raise UsageError(f"{what} holds {shown!r}", "a day of the year as month-day, such as 10-01", "correct the date")
    return month, min(day, MONTH_DAYS[month - 1])  # 29 Feb means the end of February of the 365-day year used for sums


def days_of(period: tuple[tuple[int, int], tuple[int, int]]) -> list[int]:
    """Days of the year (1..365) from the first to the last (month, day) of a period, which may wrap the year."""
    first, last = (sum(MONTH_DAYS[: month - 1]) + day for month, day in period)
    return list(range(first, last + 1)) if first <= last else [*range(first, 366), *range(1, last + 1)]


def also_in_feet(lengths: Mapping[str, float | None]) -> dict[str, float | None]:
    """The lengths of a table again in feet, to a thousandth: `cut_m` [m] as `cut_ft`; None stays None."""
    return {
        f"{name.removesuffix('_m')}_ft": None if value is None else round(value / FOOT_M, 3) + 0.0
        for name, value in lengths.items()
    }


def feet_inches(value_m: float, parts: int = 16) -> str:
    """A length as read on a tape: `100 ft 6 15/16 in`, to the nearest 1/`parts` inch (fractions in lowest terms).

    Arguments: value_m [m], finite; parts, a power of two.
    """
    units = round(abs(value_m) / INCH_M * parts)
    feet, rest = divmod(units, 12 * parts)
    inches, over = divmod(rest, parts)
    divisor = math.gcd(over, parts)
    fraction = f"{over // divisor}/{parts // divisor}" if over else ""
    words = [f"{feet} ft"] if feet else []
    if inches or fraction or not words:
        words.append(" ".join(filter(None, [str(inches) if inches or not fraction else "", fraction])) + " in")
    return ("-" if value_m < 0 and units else "") + " ".join(words)
