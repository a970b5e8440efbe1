"""The options of a report: those of the ranking, or ranks and pinned places chosen by hand, with their letters, names, notes and photos."""

from __future__ import annotations

import re
from collections.abc import Iterable, Mapping, Sequence
from dataclasses import dataclass, replace
from string import ascii_uppercase
from typing import TYPE_CHECKING

import numpy as np

from tunnelsite.core.errors import UsageError
from tunnelsite.core.grid import transformer
from tunnelsite.core.units import angle_deg, number, whole_number
from tunnelsite.io.read.picture import picture_address
from tunnelsite.report.settings import ReportSettings
from tunnelsite.scan.ranking import RankedPlacement

if TYPE_CHECKING:
    from tunnelsite.screening.result import Result

NEAR_M = 1.0  # a pin so near to a placement of the run is that placement
SAME_DEG = 0.25
PHOTO_PIXELS, MOST_PHOTOS = 1200, 6
_LETTERED = re.compile(r"^\s*([A-Z])\s*(?::\s*(.*))?$")


@dataclass(frozen=True)
class PageOption:
    """One option as a page shows it: label, its letter or rank; name, "" = none; rank in the screening, None = a pinned place that is
    not among the ranked ones; note; photos, `data:` addresses."""

    label: str
    name: str = ""
    rank: int | None = None
    note: str = ""
    photos: tuple[str, ...] = ()

    @property
    def title(self) -> str:
        """`Option A`, with its name where it has one."""
        return f"Option {self.label}" + (f": {self.name}" if self.name else "")


@dataclass(frozen=True)
class PinnedPlace:
    """A place chosen by hand: longitude, latitude (WGS 84); bearing of the ridge [deg] and house by name, None = any."""

    lon_deg: float
    lat_deg: float
    bearing_deg: float | None = None
    house: str | None = None


def chosen_options(result: Result, settings: ReportSettings) -> tuple[Result, list[PageOption]]:
    """(The result with the options that are shown as its only ones, those options in the same order).

    Errors: UsageError for a rank or place that is no option; InputRefused for a photo that cannot be shown.
    """
    if not settings.chosen:
        options = [PageOption(str(k + 1), rank=k + 1) for k in range(len(result.choices))]
        _refuse(settings.names, "names without ranks", "--ranks and --names together")
        return result, _dressed(options, settings)
    ranks = [whole_number(text, "ranks", 1, max(len(result.choices), 1)) for text in settings.ranks]
    if len(set(ranks)) < len(ranks):
        raise UsageError(f"ranks are {', '.join(map(str, ranks))}", "each rank once", "leave the second one out")
    if len(settings.names) > len(ranks):
        given = f"{len(settings.names)} names for {len(ranks)} ranks"
        raise UsageError(given, "at most one name per rank", "name the places in --place NAME=LON,LAT")
    names = [*settings.names, *[""] * len(ranks)]
    options = [PageOption("", names[k], rank) for k, rank in enumerate(ranks)]
    choices = [result.choices[rank - 1] for rank in ranks]
    for name, text in settings.place.items():
        choice = choice_at(result, _pin(name, text))
        if choice is None:
            raise UsageError(
                f"place {name} is {text}, where no house passes every rule of this screening",
                f"the middle of a house that passes, to {NEAR_M:g} m, or a bearing and house that were screened",
                "ask `tunnelsite explain --at LON LAT` why, or choose another place",
            )
        rank = next((k + 1 for k, one in enumerate(result.choices) if _same(one, choice)), None)
        choices.append(choice)
        options.append(PageOption("", name, rank))
    return replace(result, choices=choices), _dressed(_lettered(options), settings)


def choice_at(result: Result, pin: PinnedPlace) -> RankedPlacement | None:
    """The placement of a run that passed and stands at a pin; None where there is none."""
    for number_of, (scan, scored) in enumerate(zip(result.scans, result.scored, strict=True)):
        grid = scan.frame.grid
        turned = 0.0 if pin.bearing_deg is None else (grid.bearing_deg - pin.bearing_deg + 90.0) % 180.0 - 90.0
        if pin.house not in (None, scan.house.name) or abs(turned) > SAME_DEG or not len(scan.index):
            continue
        spot = grid.from_map(*transformer("EPSG:4326", grid.crs_wkt).transform(pin.lon_deg, pin.lat_deg))
        row, col = int((grid.north_m - spot[1]) / grid.cell_m), int((spot[0] - grid.west_m) / grid.cell_m)
        item = min(int(np.searchsorted(scan.index, row * grid.cols + col)), len(scan.index) - 1)
        away = np.hypot(*np.subtract(scan.centre(int(scan.index[item])), spot))
        if away <= NEAR_M and np.isfinite(scored[item]):
            return RankedPlacement(number_of, item, float(scored[item]))
    return None


def _same(one: RankedPlacement, other: RankedPlacement) -> bool:
    return (one.scan, one.item) == (other.scan, other.item)


def _pin(name: str, text: str) -> PinnedPlace:
    parts = [part.strip() for part in text.split(",")]
    if not 2 <= len(parts) <= 4:
        raise UsageError(f"place {name} is {text!r}", "LON,LAT or LON,LAT,BEARING,HOUSE", "write -78.14967,43.00756")
    lon, lat = (number(part, f"place {name}") for part in parts[:2])
    if not (-180 <= lon <= 180 and -90 <= lat <= 90):
        raise UsageError(
            f"place {name} is {text!r}", "longitude -180 to 180, latitude -90 to 90", "longitude comes first"
        )
    bearing = angle_deg(parts[2], f"place {name}") if len(parts) > 2 and parts[2] else None
    return PinnedPlace(lon, lat, bearing, parts[3] if len(parts) > 3 else None)


def _lettered(options: Sequence[PageOption]) -> list[PageOption]:
    """The options with letters: those in their names, then the first free ones. Errors: UsageError for a letter that is there twice."""
    wanted = [_LETTERED.match(option.name) for option in options]
    used = [match[1] for match in wanted if match]
    if len(set(used)) < len(used) or len(options) > len(ascii_uppercase):
        raise UsageError(
            f"letters are {', '.join(used)}", "each letter once, at most 26 options", "choose other letters"
        )
    free = iter([letter for letter in ascii_uppercase if letter not in used])
    return [
        replace(option, label=match[1], name=match[2] or "") if match else replace(option, label=next(free))
        for option, match in zip(options, wanted, strict=True)
    ]


def _dressed(options: list[PageOption], settings: ReportSettings) -> list[PageOption]:
    """The options with their notes and photos. Errors: UsageError for a note on an option that is not there."""
    known = {option.label for option in options}
    for what, given in (("note", settings.note), ("photo", settings.photo)):
        _refuse([key for key in given if key.strip().upper() not in known], f"{what} on an option that is not shown",
                f"one of {', '.join(sorted(known)) or 'no options'}")  # fmt: skip
    notes = _by_label(settings.note)
    photos = {label: _photos(text) for label, text in _by_label(settings.photo).items()}
    return [replace(one, note=notes.get(one.label, ""), photos=photos.get(one.label, ())) for one in options]


def _by_label(given: Mapping[str, str]) -> dict[str, str]:
    return {key.strip().upper(): text for key, text in given.items()}


def _photos(text: str) -> tuple[str, ...]:
    paths = [part.strip() for part in text.split(",") if part.strip()]
    _refuse(paths[MOST_PHOTOS:], f"{len(paths)} photos of one option", f"at most {MOST_PHOTOS}")
    return tuple(picture_address(path, "--photo", PHOTO_PIXELS) for path in paths)


def _refuse(wrong: Iterable[str], what: str, expected: str) -> None:
    listed = ", ".join(str(one) for one in wrong)
    if listed:
        raise UsageError(f"{what}: {listed}", expected, "correct it or leave it out")
