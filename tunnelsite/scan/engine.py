"""The engine: every placement of one house on one frame is measured and tried against every limit."""

from __future__ import annotations

from dataclasses import dataclass, field, replace
from typing import Any

import numpy as np

from tunnelsite.core.criterion import Criterion, Truth
from tunnelsite.core.house import House, Pad
from tunnelsite.core.process import Progress, silent
from tunnelsite.core.rubric import Rubric
from tunnelsite.core.site import Frame
from tunnelsite.core.store import GrowingArray, Store
from tunnelsite.scan.frame_facts import facts_of
from tunnelsite.scan.open_ground import OpenGround
from tunnelsite.scan.strip import Strip

STRIP_CELLS = 1 << 18  # memory of a strip's arrays stays a few MB each, whatever the size of the DEM
STRIP_ROWS = 128  # strips of whole kernel tiles: nothing is slid over twice


@dataclass(frozen=True)
class Judge:
    """A criterion as it is used in one run: with its rubric and its parameters, but for those that each frame tells."""

    criterion: Criterion
    rubric: Rubric
    parameters: dict[str, Any] = field(default_factory=dict)

    def measure(self, strip: Strip) -> np.ndarray:
        """The measures of a strip of placements, float32 [strip rows, cols]."""
        return np.asarray(self.criterion.measure(strip, **self._arguments(strip)), np.float32)

    def truth(self, strip: Strip, measure: np.ndarray) -> Truth | None:
        """What is known of the true measures of a strip, float32 [strip rows, cols]; None where they are taken as exact."""
        if self.criterion.truth is None:
            return None
        if not strip.feasible().any():
            return Truth(measure, measure)
        found = self.criterion.truth(strip, measure, **self._arguments(strip))
        return Truth(*(np.broadcast_to(np.asarray(values, np.float32), strip.shape) for values in found))

    def _arguments(self, strip: Strip) -> dict[str, Any]:
        wanted = {parameter.id for parameter in self.criterion.description.parameters} - self.parameters.keys()
        return self.parameters | facts_of(strip.frame, wanted)

    @property
    def id(self) -> str:
        """The criterion's id, which is also the id of the rule its limit makes."""
        return self.criterion.id


@dataclass
class Tally:
    """What one rule rejected in one parcel.

    Attributes: tried, rejected: placements. miss: the rejected measure nearest to the limit; miss_row, miss_col: where.
    """

    tried: int = 0
    rejected: int = 0
    miss: float = np.nan
    miss_row: int = -1
    miss_col: int = -1


@dataclass(frozen=True)
class Lost:
    """What one rule rejected: index, int64 [n], rising; owner, int32 [n], parcel; measures, by criterion id, float32 [n], those taken
    up to and with this rule."""

    index: np.ndarray
    owner: np.ndarray
    measures: dict[str, np.ndarray]

    def only(self, keep: np.ndarray, names: list[str]) -> Lost:
        """A part of them with some of the measures; keep, bool [n]."""
        return Lost(self.index[keep], self.owner[keep], {name: self.measures[name][keep] for name in names})


@dataclass
class Scan:
    """Every placement of one house on one frame that no rule rejected, with its measures.

    Attributes:
        frame, house, pad: what was scanned.
        index: int64 [n], row * cols + col of the placement's centre cell, rising.
        owner: integer [n], parcel, in the type of the ground's.
        measures: by criterion id, float32 [n]. truths: the same for criteria that tell what is known of the true value.
        tallies: by rule id, then by parcel.
        lost: by rule, what the limits rejected; None = not kept (`scan.losses` finds it again from the layers).
    """

    frame: Frame
    house: House
    pad: Pad
    index: np.ndarray
    owner: np.ndarray
    measures: dict[str, np.ndarray]
    tallies: dict[str, list[Tally]]
    ground: OpenGround
    truths: dict[str, Truth] = field(default_factory=dict)
    lost: dict[str, Lost] | None = None

    def centre(self, index: np.ndarray | int) -> tuple[np.ndarray, np.ndarray]:
        """Along and across [m] of the house's centre for placements given by `index` (row * cols + col of the cell)."""
        return self.ground.nudged.centre(self.frame.grid, np.asarray(index))

    def only(self, keep: np.ndarray) -> Scan:
        """The scan with a part of its placements; keep, bool [n]."""
        if keep.all():
            return self
        measures = {name: values[keep] for name, values in self.measures.items()}
        truths = {name: Truth(*(values[keep] for values in truth)) for name, truth in self.truths.items()}
        return replace(self, index=self.index[keep], owner=self.owner[keep], measures=measures, truths=truths)


def scanned(
    frame: Frame,
    sizes: tuple[House, Pad],
    ground: OpenGround,
    judges: list[Judge],
    pad_pitch: float,
    progress: Progress = silent,
) -> Scan:
    """Measure every feasible placement, strip by strip; a limit takes placements out of the running for later criteria.

    Arguments: frame; sizes (house, pad); ground, from `open_ground`; judges in the order in which they are tried, cheap
    ones first; pad_pitch, slope the finished pad may keep [fraction]; progress.
    """
    house, pad = sizes
    count = len(frame.parcels)
    rules = ["no_data", *(judge.id for judge in judges)]
    tallies = {rule: [Tally() for _ in range(count)] for rule in rules}
    passed = _Passed.none(frame.store, judges, ground.owner)
    rows, cols = frame.grid.shape
    step = max(1, STRIP_CELLS // cols // STRIP_ROWS) * STRIP_ROWS
    for top in range(0, rows, step):
        bottom = min(top + step, rows)
        owner = ground.owner[top:bottom]
        mask = owner >= 0
        if mask.any():
            strip = Strip(frame, house, pad, (top, bottom), mask, pad_pitch, ground.nudged)
            measured = _tried(strip, owner, judges, tallies)
            passed.add(strip, owner, judges, measured)
            del strip, measured  # before the next one is begun
        frame.store.rest()
        progress(f"placements of {house.name}", bottom / rows)
    measures = {name: column.whole() for name, column in passed.measures.items()}
    truths = {name: Truth(mean.whole(), se.whole()) for name, (mean, se) in passed.truths.items()}
    return Scan(frame, house, pad, passed.index.whole(), passed.owner.whole(), measures, tallies, ground, truths)


@dataclass(frozen=True)
class _Passed:
    """Columns of the placements that pass every limit, as in `Scan`."""

    index: GrowingArray
    owner: GrowingArray
    measures: dict[str, GrowingArray]
    truths: dict[str, tuple[GrowingArray, GrowingArray]]

    @classmethod
    def none(cls, store: Store, judges: list[Judge], owner: np.ndarray) -> _Passed:
        """Columns with room for every placement that has an owner."""
        unsure = [judge.id for judge in judges if judge.criterion.truth is not None]
        kinds: list[type] = [np.int64, owner.dtype.type, *[np.float32] * (len(judges) + 2 * len(unsure))]
        columns = iter(store.columns(kinds, int(np.count_nonzero(owner >= 0))))
        return cls(
            next(columns),
            next(columns),
            {judge.id: next(columns) for judge in judges},
            {name: (next(columns), next(columns)) for name in unsure},
        )

    def add(self, strip: Strip, owner: np.ndarray, judges: list[Judge], measured: dict[str, np.ndarray]) -> None:
        """Add the placements of a strip that are still in the running; one criterion at a time, so that no more is held than must be."""
        places = np.flatnonzero(strip.feasible())
        self.index.append(places + np.int64(strip.rows[0]) * strip.shape[1])
        self.owner.append(owner.ravel().take(places))
        for judge in judges:
            measure = measured.pop(judge.id)
            truth = judge.truth(strip, measure)
            self.measures[judge.id].append(measure.ravel().take(places))
            for column, values in zip(self.truths.get(judge.id, ()), truth or (), strict=True):
                column.append(values.ravel().take(places))


def _tried(
    strip: Strip, owner: np.ndarray, judges: list[Judge], tallies: dict[str, list[Tally]]
) -> dict[str, np.ndarray]:
    """Measure a strip's placements, take out and count those that a limit rejects; measures by criterion, float32 [strip rows, cols]."""
    unknown = ~np.isfinite(strip.pad_max("ground")) & strip.feasible()
    left = np.bincount(owner[strip.feasible()], minlength=len(tallies["no_data"]))  # by parcel, still in the running
    left -= _count(tallies["no_data"], strip, (owner, left), unknown)
    strip.reject(unknown)
    measured: dict[str, np.ndarray] = {}
    for judge in judges:
        mask = strip.feasible()
        if not mask.any():
            measured[judge.id] = np.full(strip.shape, np.nan, np.float32)
            continue
        measure = judge.measure(strip)
        measured[judge.id] = measure
        beyond = judge.rubric.beyond(measure) & mask
        judged = None if judge.rubric.limit is None else (measure, judge.rubric.limit)
        left -= _count(tallies[judge.id], strip, (owner, left), beyond, judged)
        strip.reject(beyond)
    return measured


def _count(
    tally: list[Tally],
    strip: Strip,
    tried: tuple[np.ndarray, np.ndarray],
    beyond: np.ndarray,
    judged: tuple[np.ndarray, float] | None = None,
) -> np.ndarray:
    """Add a strip's rejections to the tally of each parcel, and keep the nearest miss; how many were rejected, by parcel.

    tried = (owner of each placement, by parcel how many come to this rule); judged = (measure, limit), None for a rule without.
    """
    owner, left = tried
    where = np.flatnonzero(beyond)
    parcels = owner.ravel()[where]
    hit = np.bincount(parcels, minlength=len(tally))
    for parcel in np.flatnonzero(left).tolist():
        tally[parcel].tried += int(left[parcel])
        tally[parcel].rejected += int(hit[parcel])
    if judged is None or not len(where):
        return hit
    measure, limit = judged
    away = misses(measure.ravel()[where], limit)
    for parcel, at in nearest_of_each(parcels, away).items():
        known, cell = tally[parcel], int(where[at])
        if not np.isfinite(known.miss) or away[at] < misses(known.miss, limit):
            known.miss = float(measure.flat[cell])
            known.miss_row, known.miss_col = strip.rows[0] + cell // strip.shape[1], cell % strip.shape[1]
    return hit


def misses(measure: np.ndarray | float, limit: float) -> np.ndarray:
    """Distance of rejected measures from a limit, in double precision, so that the nearest is the same however it is found."""
    away: np.ndarray = np.abs(np.asarray(measure, np.float64) - limit)
    return away


def nearest_of_each(parcels: np.ndarray, away: np.ndarray) -> dict[int, int]:
    """By parcel, the first place of its least distance.

    Arguments: parcels, int [n], 0 or more; away, distance from a limit, float [n], no NaN.
    """
    nearest = np.full(int(parcels.max(initial=-1)) + 1, np.inf, away.dtype)
    np.minimum.at(nearest, parcels, away)
    at = np.flatnonzero(away == nearest[parcels])[::-1]
    return dict(zip(parcels[at].tolist(), at.tolist(), strict=True))  # reversed, so the first one stays
