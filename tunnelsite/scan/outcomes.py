"""What became of every placement of a scan, cell by cell: which rule rejected it, or that it passed."""

from __future__ import annotations

from dataclasses import dataclass, replace

import numpy as np
import shapely

from tunnelsite.core.site import segments_of
from tunnelsite.kernels.polygon_mask import polygon_mask
from tunnelsite.scan.engine import Judge, Scan
from tunnelsite.scan.losses import NO_DATA, trials
from tunnelsite.scan.open_ground import Bar, bars, open_ground

OUTSIDE, PASSED = 0, 1
SOME_LIMIT = "limit"


@dataclass(frozen=True)
class Outcomes:
    """What became of every placement.

    Attributes:
        code: uint8 [rows, cols] of the scan's grid; 0 = the cell's centre lies in no parcel, 1 = the placement passed every
            rule, 2 + k = rejected by `rules[k]`, the first rule that it broke.
        rules: ids as in the `rejections` table; `limit` stands for all limits together where measures were not kept.
    """

    code: np.ndarray
    rules: tuple[str, ...]

    def count(self, rule: str) -> int:
        """How many placements a rule rejected."""
        return int(np.count_nonzero(self.code == 2 + self.rules.index(rule)))


def outcomes(scan: Scan, judges: list[Judge], room: tuple[float, float], pad_pitch: float) -> Outcomes:
    """Try every rule again, in the order of the screening, and note the first one that each placement breaks.

    Arguments: scan; judges; room, (setback [m], clearance of structures [m]); pad_pitch, slope the finished pad may keep.
    Return: Outcomes. Counts by rule are those of the scan's own tallies. A kept run says itself what each limit rejected; a scan
    with neither that nor the layers that the criteria read has all limits in one.
    """
    setback_m, clearance_m = room
    code, rules = _ground_rules(scan, setback_m, bars(scan.frame, clearance_m))
    passed = np.zeros(code.shape, bool)
    passed.flat[scan.index] = True
    code[passed] = PASSED
    left = code == 255
    layers = {spec.id for judge in judges for spec in judge.criterion.description.reads if not spec.optional}
    limited = [judge for judge in judges if judge.rubric.limit is not None]
    if scan.lost is not None:  # a kept run: what each limit rejected is in it; the rest had no heights
        rules += [NO_DATA, *(judge.id for judge in limited)]
        code[left] = 2 + rules.index(NO_DATA)
        for rule, lost in scan.lost.items():
            code.flat[lost.index] = 2 + rules.index(rule)
        return Outcomes(code, tuple(rules))
    if not layers <= scan.frame.layers.keys():
        code[left] = 2 + len(rules)
        return Outcomes(code, (*rules, SOME_LIMIT))
    rules += [NO_DATA, *(judge.id for judge in limited)]
    for trial in trials(scan, limited, left, pad_pitch):
        code[trial.top : trial.top + len(trial.beyond)][trial.beyond] = 2 + rules.index(trial.rule)
    return Outcomes(code, tuple(rules))


def _ground_rules(scan: Scan, setback_m: float, barred: list[Bar]) -> tuple[np.ndarray, list[str]]:
    """(code, rules) after boundary, keep-outs and structures; 255 = passed all of these.

    The very test of the screening, which notes what took each cell.
    """
    frame = scan.frame
    grid = frame.grid
    edges = segments_of(shapely.union_all(np.asarray(frame.parcels, object)))
    code = np.zeros(grid.shape, np.uint8)
    code[polygon_mask(edges, grid.west_m, grid.north_m, grid.cell_m, grid.shape)] = 2
    owner = open_ground(frame, scan.pad, setback_m, barred).owner
    rules = list(dict.fromkeys(["boundary", *(bar.rule for bar in barred)]))
    for k, bar in enumerate(barred):
        code[owner == -2 - k] = 2 + rules.index(bar.rule)
    code[owner >= 0] = 255
    return code, rules


def thinned(found: Outcomes, every: int) -> Outcomes:
    """Every `every`-th row and column, for a picture."""
    return replace(found, code=found.code[::every, ::every])
