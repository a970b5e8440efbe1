"""A level book: field readings reduced by height of instrument and by rise and fall, with loop closure and
adjustment."""

from __future__ import annotations

import csv
import io
import math
from collections.abc import Iterator, Mapping
from dataclasses import dataclass

from tunnelsite.core.errors import InputRefused, UsageError
from tunnelsite.core.units import FOOT_M, VERTICAL_UNITS_M, number

COLUMNS = ("station", "backsight", "intermediate", "foresight", "remarks")
READINGS = COLUMNS[1:4]
# Allowed misclosure 0.02 ft times the root of the number of set-ups: ordinary construction levelling [@level-misclosure].
CLOSURE_PER_SETUP_M = 0.02 * FOOT_M
LONGEST_ROD_M = 8.0  # common rods end at 5 m or 25 ft; a longer reading is a slip of the decimal point
MOST_ROWS = 10_000


@dataclass(frozen=True)
class Sighting:
    """One row of the book: the station and its readings [m], None where there is none. `line` is for messages."""

    line: int
    station: str
    backsight_m: float | None
    intermediate_m: float | None
    foresight_m: float | None
    remarks: str = ""


@dataclass(frozen=True)
class Reduced:
    """One row reduced.

    Attributes:
        sighting: the readings. setup: number of the set-up that gave the height, from 1.
        instrument_m: height of the instrument that stood after this row's backsight, or during the row [m].
        rise_m: height above the station read just before, - = fall; None in the first row [m].
        raw_m, height_m: height before and after adjustment [m].
    """

    sighting: Sighting
    setup: int
    instrument_m: float
    rise_m: float | None
    raw_m: float
    height_m: float


@dataclass(frozen=True)
class LevelRun:
    """A reduced level book.

    Attributes:
        rows: in the order of the book. setups: how often the instrument stood.
        misclosure_m: height found for the closing mark less its known height; None where the run closes on nothing
        known.
        allowed_m: what the misclosure may be [m].
        closes: whether it is within that; None where it could not be checked.
        adjusted: whether the misclosure was shared out.
        verdict: in words.
    """

    rows: tuple[Reduced, ...]
    setups: int
    misclosure_m: float | None
    allowed_m: float
    closes: bool | None
    adjusted: bool
    verdict: str

    def heights_m(self) -> dict[str, float]:
        """Height of every station [m]; the mean where one was read more than once."""
        found: dict[str, list[float]] = {}
        for row in self.rows:
            found.setdefault(row.sighting.station, []).append(row.height_m)
        return {station: sum(heights) / len(heights) for station, heights in found.items()}

    def spreads_m(self) -> dict[str, float]:
        """Largest less smallest height of each station that was read more than once [m]: a check that costs nothing."""
        found: dict[str, list[float]] = {}
        for row in self.rows:
            found.setdefault(row.sighting.station, []).append(row.height_m)
        return {name: max(heights) - min(heights) for name, heights in found.items() if len(heights) > 1}


def parse_level_book(text: str, unit: str = "m", name: str = "level book") -> list[Sighting]:
    """The rows of a level book from CSV text.

    The first row names the columns: station, backsight, intermediate, foresight, remarks (any order, the last may be
    missing). The book starts on a known mark with a backsight and ends with a foresight; a turning point has a
    foresight
    to it and the next backsight in one row.

    Arguments: text; unit of the readings, `m`, `ft` or `us-ft`; name [words] for messages.
    Errors: InputRefused naming the line; UsageError for another unit.
    """
    if unit not in VERTICAL_UNITS_M:
        raise UsageError(f"unit of the level book is {unit!r}", ", ".join(VERTICAL_UNITS_M), "choose one of these")
    rows = _csv_rows(text, name)
    _, header = next(rows, (0, []))
    columns = [cell.strip().lower() for cell in header]
    missing = [column for column in COLUMNS[:4] if column not in columns]
    unknown = [column for column in columns if column not in COLUMNS]
    if missing or unknown or len(set(columns)) != len(columns):
        raise InputRefused(
            f"{name} starts with {', '.join(header) or 'nothing'}",
            f"one line that names the columns {', '.join(COLUMNS)}, each once",
            f"{'add ' + ', '.join(missing) if missing else 'rename or remove ' + ', '.join(unknown or columns)}",
        )
    found = [
        _sighting(dict(zip(columns, cells, strict=False)), len(cells), len(columns), line, unit, name)
        for line, cells in rows
    ]
    _check_order(found, name)
    return found


def reduce_level_book(
    sightings: list[Sighting], known_m: Mapping[str, float], *, allowed_per_setup_m: float = CLOSURE_PER_SETUP_M
) -> LevelRun:
    """Reduce a level book and adjust it where it closes within the tolerance.

    Each height is found twice, by height of instrument and by rise and fall, and both have to agree. The misclosure
    is shared
    out in equal parts by set-up, half of a set-up's part falling on its backsight: this is the least-squares
    adjustment of
    equally good readings. A run that closes outside the tolerance is not adjusted: it has to be levelled again.

    Arguments: sightings, from `parse_level_book`; known_m, heights of known marks by station [m], the first station
    among
    them; the run closes on its last station if that is known. allowed_per_setup_m [m], times the root of the set-ups.
    Errors: UsageError if the first station is not known, or a known height is not finite.
    Source: usual field book of differential levelling (common practice) [@level-misclosure].
    """
    first, last = sightings[0].station, sightings[-1].station
    if first not in known_m or not all(math.isfinite(height) for height in known_m.values()):
        raise UsageError(
            f"known heights are given for {', '.join(known_m) or 'no station'}",
            f"finite heights, one of them for {first!r}, on which the book starts",
            "give the height of the bench mark (100 will do if nothing is known)",
        )
    raw, setups, instruments, rises = _raw_heights(sightings, known_m[first])
    count = setups[-1]
    misclosure = raw[-1] - known_m[last] if last in known_m else None
    allowed = allowed_per_setup_m * math.sqrt(count)
    closes = None if misclosure is None else abs(misclosure) <= allowed
    share = 0.0 if misclosure is None or not closes else misclosure / count
    rows = []
    for k, sighting in enumerate(sightings):
        parts = setups[k] if sighting.foresight_m is not None else setups[k] - 0.5
        corrected = raw[k] - share * (parts if k else 0.0)
        rows.append(Reduced(sighting, setups[k], instruments[k], rises[k], raw[k], corrected))
    return LevelRun(
        tuple(rows), count, misclosure, allowed, closes, bool(closes), _verdict(misclosure, allowed, count, last)
    )


def _csv_rows(text: str, name: str) -> Iterator[tuple[int, list[str]]]:
    """(line number, cells) of every line that is not blank."""
    reader = csv.reader(io.StringIO(text.removeprefix("\ufeff")), strict=True)
    count = 0
    try:
        for cells in reader:
            if any(cell.strip() for cell in cells):
                count += 1
                if count > MOST_ROWS:
                    raise InputRefused(f"{name} has more than {MOST_ROWS} lines", "a level book", "split the file")
                yield reader.line_num, cells
    except csv.Error as error:
        raise InputRefused(
            f"{name}, line {reader.line_num}: {error}", "comma-separated values", "correct the line"
        ) from error


def _sighting(cells: dict[str, str], given: int, wanted: int, line: int, unit: str, name: str) -> Sighting:
    where = f"{name}, line {line}"
    if given > wanted:
        raise InputRefused(f"{where} has {given} cells", f"at most {wanted}", "quote a comma in the remarks")
    station = " ".join(cells.get("station", "").split())
    if not station:
        raise InputRefused(f"{where} has readings but no station", "the name of the station", "fill it in")
    read = [_reading(cells.get(column, ""), f"{where}: {column}", unit) for column in READINGS]
    back, between, fore = read
    if between is not None and (back is not None or fore is not None):
        raise InputRefused(
            f"{where} has an intermediate and another reading", "a row of its own for an intermediate", "split the row"
        )
    if back is between is fore is None:
        raise InputRefused(
            f"{where} ({station}) has no reading", "a backsight, intermediate or foresight", "fill it in"
        )
    return Sighting(line, station, back, between, fore, cells.get("remarks", "").strip())


def _reading(text: str, what: str, unit: str) -> float | None:
    if not text.strip():
        return None
    try:
        value = number(text, what) * VERTICAL_UNITS_M[unit]
    except UsageError as error:  # a broken file rather than a broken setting
        raise InputRefused(error.given, error.expected, error.fix) from error
    if not 0 <= value <= LONGEST_ROD_M:
        raise InputRefused(
            f"{what} is {text.strip()} {unit}",
            f"0 to {LONGEST_ROD_M / VERTICAL_UNITS_M[unit]:.1f} {unit}, what a rod can show",
            "look for a slip of the decimal point, or a wrong unit",
        )
    return value


def _check_order(found: list[Sighting], name: str) -> None:
    if len(found) < 2:
        raise InputRefused(f"{name} has {len(found)} readings", "at least a backsight and a foresight", "complete it")
    first, last = found[0], found[-1]
    if first.backsight_m is None or first.foresight_m is not None:
        raise InputRefused(
            f"{name}, line {first.line} ({first.station}) does not start with a backsight alone",
            "a backsight on the bench mark in the first row",
            "add it: without it nothing has a height",
        )
    for row in found[1:-1]:
        if row.backsight_m is not None and row.foresight_m is None:
            raise InputRefused(
                f"{name}, line {row.line} ({row.station}) has a backsight but no foresight",
                "both in the row of a turning point",
                "write the foresight to the turning point and the backsight from it in one row",
            )
        if row.foresight_m is not None and row.backsight_m is None:
            raise InputRefused(
                f"{name}, line {row.line} ({row.station}) has a foresight but the book goes on without a backsight",
                "the next backsight in the same row",
                "add it, or make this an intermediate",
            )
    if last.foresight_m is None or last.backsight_m is not None:
        raise InputRefused(
            f"{name}, line {last.line} ({last.station}) does not end with a foresight alone",
            "a foresight in the last row, best back on the bench mark",
            "add it: without it the run cannot be checked",
        )


def _raw_heights(
    sightings: list[Sighting], start_m: float
) -> tuple[list[float], list[int], list[float], list[float | None]]:
    """Heights, set-ups, instrument heights and rises of the rows, the two ways of reduction compared."""
    before, by_rises = sightings[0].backsight_m or 0.0, start_m  # the order was checked: the first row has one
    raw, setups, instruments = [start_m], [1], [start_m + before]
    rises: list[float | None] = [None]
    for row in sightings[1:]:
        reading = row.intermediate_m if row.foresight_m is None else row.foresight_m
        if reading is None:
            raise ValueError(f"line {row.line} has neither an intermediate nor a foresight")
        rises.append(before - reading)
        by_rises += before - reading
        raw.append(instruments[-1] - reading)
        setups.append(setups[-1] + (sightings[len(raw) - 2].foresight_m is not None))
        if not math.isclose(raw[-1], by_rises, abs_tol=1e-6):  # both are sums of the same readings
            raise ArithmeticError(f"the two reductions differ at line {row.line}: {raw[-1]} and {by_rises} m")
        instruments.append(instruments[-1] if row.backsight_m is None else raw[-1] + row.backsight_m)
        before = reading if row.backsight_m is None else row.backsight_m
    return raw, setups, instruments, rises


def _verdict(misclosure: float | None, allowed: float, count: int, last: str) -> str:
    setups = f"{count} set-up{'s' if count > 1 else ''}"
    if misclosure is None:
        return f"Not checked: the run ends on {last}, whose height is not known. Close it on the bench mark."
    found = f"{1000 * misclosure:+.1f} mm ({misclosure / FOOT_M:+.3f} ft) over {setups}"
    limit = f"{1000 * allowed:.1f} mm ({allowed / FOOT_M:.3f} ft)"
    if abs(misclosure) <= allowed:
        return f"Closes: {found}, allowed {limit}; shared out over the set-ups."
    return f"Does NOT close: {found}, allowed {limit}. Not adjusted: level the run again."
