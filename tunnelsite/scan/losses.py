"""What the limits rejected, with every measure taken until then: so a stricter limit counts them as a screening would."""

from __future__ import annotations

from collections.abc import Iterator
from dataclasses import dataclass, replace

import numpy as np

from tunnelsite.scan.engine import STRIP_CELLS, STRIP_ROWS, Judge, Lost, Scan, Tally, misses, nearest_of_each
from tunnelsite.scan.strip import Strip

NO_DATA = "no_data"


@dataclass(frozen=True)
class Trial:
    """One rule tried on the placements of a strip that came to it.

    Attributes: top, first row of the strip; rule; beyond, bool [strip rows, cols], rejected by it; measured, by criterion id,
    float32 [strip rows, cols], all measures so far.
    """

    top: int
    rule: str
    beyond: np.ndarray
    measured: dict[str, np.ndarray]


def trials(scan: Scan, judges: list[Judge], wanted: np.ndarray, pad_pitch: float) -> Iterator[Trial]:
    """Try every rule again on some placements, in the order of the screening.

    Arguments: scan, with the layers that the criteria read; judges; wanted, bool [rows, cols]; pad_pitch as in `scanned`.
    """
    rows, cols = wanted.shape
    step = max(1, STRIP_CELLS // cols // STRIP_ROWS) * STRIP_ROWS
    for top in range(0, rows, step):
        bottom = min(top + step, rows)
        mask = wanted[top:bottom].copy()
        if not mask.any():
            continue
        strip = Strip(scan.frame, scan.house, scan.pad, (top, bottom), mask, pad_pitch, scan.ground.nudged)
        measured: dict[str, np.ndarray] = {}
        unknown = ~np.isfinite(strip.pad_max("ground")) & strip.feasible()
        yield Trial(top, NO_DATA, unknown, measured)
        strip.reject(unknown)
        for judge in judges:
            if not strip.feasible().any():
                break
            measure = judge.measure(strip)
            measured[judge.id] = measure
            beyond = judge.rubric.beyond(measure) & strip.feasible()
            yield Trial(top, judge.id, beyond, measured)
            strip.reject(beyond)


def losses(scan: Scan, judges: list[Judge], pad_pitch: float) -> dict[str, Lost]:
    """What the limits of a screening rejected, by rule; missing heights are left out, since no limit changes them.

    Arguments: scan, with the layers that the criteria read or with its losses; judges; pad_pitch as in `scanned`.
    """
    if scan.lost is not None:
        return scan.lost
    wanted = scan.ground.owner >= 0
    wanted.flat[scan.index] = False
    parts: dict[str, list[Lost]] = {judge.id: [] for judge in judges}
    for trial in trials(scan, judges, wanted, pad_pitch):
        if trial.rule != NO_DATA and trial.beyond.any():
            index = np.flatnonzero(trial.beyond) + trial.top * np.int64(wanted.shape[1])
            measures = {name: values[trial.beyond] for name, values in trial.measured.items()}
            parts[trial.rule].append(Lost(index, scan.ground.owner.flat[index].astype(np.int32), measures))
    return {rule: _joined(some) for rule, some in parts.items() if some}


def limited_again(scan: Scan, lost: dict[str, Lost], judges: list[Judge]) -> Scan:
    """The scan as a screening with stricter limits would have left it: placements, tallies and losses.

    Arguments: scan; lost, from `losses`; judges with the new limits, none looser than before.
    """
    parts = [Lost(scan.index, scan.owner, scan.measures), *lost.values()]
    left = [np.ones(len(part.index), bool) for part in parts]
    tallies, gone, names = {NO_DATA: scan.tallies[NO_DATA]}, dict[str, Lost](), list[str]()
    for judge in judges:
        names.append(judge.id)
        tried = np.zeros(len(scan.frame.parcels), np.int64)
        for part, one in zip(parts, left, strict=True):
            tried += np.bincount(part.owner[one], minlength=len(tried))
        hits = []
        for part, one in zip(parts, left, strict=True):
            if not one.any():  # what an earlier rule took has no measure here
                continue
            hit = one & judge.rubric.beyond(part.measures[judge.id])
            one &= ~hit
            hits.append(part.only(hit, names))
        rejected = _joined(hits) if hits else Lost(scan.index[:0], scan.owner[:0], {})
        tallies[judge.id] = _tallies(tried, rejected, judge, scan.frame.grid.cols)
        if len(rejected.index):
            gone[judge.id] = rejected
    return replace(scan, tallies=tallies, lost=gone).only(left[0])


def _tallies(tried: np.ndarray, rejected: Lost, judge: Judge, cols: int) -> list[Tally]:
    """One tally a parcel. tried: by parcel, placements that came to the rule."""
    hit = np.bincount(rejected.owner, minlength=len(tried))
    found = [Tally(int(came), int(went)) for came, went in zip(tried, hit, strict=True)]
    if len(rejected.index) and judge.rubric.limit is not None:
        values = rejected.measures[judge.id]
        for parcel, at in nearest_of_each(rejected.owner, misses(values, judge.rubric.limit)).items():
            row, col = divmod(int(rejected.index[at]), cols)
            found[parcel] = replace(found[parcel], miss=float(values[at]), miss_row=row, miss_col=col)
    return found


def _joined(parts: list[Lost]) -> Lost:
    """Parts that hold measures of the same criteria as one, by rising index."""
    index = np.concatenate([part.index for part in parts])
    order = np.argsort(index, kind="stable")
    measures = {name: np.concatenate([part.measures[name] for part in parts])[order] for name in parts[0].measures}
    return Lost(index[order], np.concatenate([part.owner for part in parts])[order], measures)
