"""What stands on a horizon, one thing after the other: runs of directions that belong together, and the sun each takes."""

from __future__ import annotations

from dataclasses import dataclass, replace

import numpy as np

from tunnelsite.core.horizon import Horizon

DISTANCE_JUMP = 1.5  # a horizon that leaps to this many times the distance is another thing
LEAST_MINUTES = 12  # of all days together: what takes less and touches a neighbour is counted to it
MINOR_MINUTES = 30  # of all days together: less than this is numbered last
SAME_GAP_DEG = 1.5
SLIVER_GAP_DEG = 2.0
DUST_MINUTES = 3
WIDE_GAP_DEG = 30.0


@dataclass(frozen=True)
class Blocker:
    """One thing on the horizon that hides the sun on some of the days asked for.

    Attributes:
        number: from 1, those that matter first, clockwise from north. what: its name. kind: `ground` or `standing`, empty = unknown.
        from_deg, to_deg: azimuths over which it hides the sun. top_deg, top_azimuth_deg: its highest point there.
        distance_m: [m] at its highest point; nearest_m [m]. standing_m: how tall above its own ground there [m], 0
        for ground. None = unknown.
        minutes: sun it takes on all the days together. minor: whether that is next to nothing.
    """

    number: int
    what: str
    kind: str
    from_deg: float
    to_deg: float
    top_deg: float
    top_azimuth_deg: float
    distance_m: float | None
    nearest_m: float | None
    standing_m: float | None
    minutes: int
    minor: bool


def blockers_of(horizon: Horizon, hidden: list[np.ndarray]) -> tuple[tuple[Blocker, ...], np.ndarray]:
    """The things that hide the sun, and for each azimuth of the horizon the number of its thing (0 = hides nothing).

    Arguments: horizon; hidden, for each day the azimuths [deg] of the sun in every minute in which it is hidden.
    """
    count = len(horizon.azimuth_deg)
    minutes = np.zeros(count, int)
    for azimuth in hidden:
        minutes += np.bincount(horizon.nearest(azimuth), minlength=count) if len(azimuth) else 0
    runs = [part for run in _joined(horizon, _things(horizon), minutes) for part in _sides(horizon, run, minutes)]
    found = [_blocker(horizon, run, minutes) for run in runs]
    order = sorted(range(len(found)), key=lambda k: (found[k].minor, found[k].from_deg))
    owner = np.zeros(count, int)
    for number, k in enumerate(order, 1):
        owner[runs[k]] = number
    return tuple(replace(found[k], number=number) for number, k in enumerate(order, 1)), owner


def _things(horizon: Horizon) -> list[np.ndarray]:
    """All directions, cut where the name changes or the distance leaps; the first and the last run may be one thing."""
    count = len(horizon.azimuth_deg)
    what = np.array(horizon.what or [""] * count, object)
    distance = np.full(count, np.nan) if horizon.distance_m is None else np.asarray(horizon.distance_m, float)
    with np.errstate(invalid="ignore", divide="ignore"):
        leap = np.abs(np.log(distance[1:] / distance[:-1])) > np.log(DISTANCE_JUMP)
    runs = np.split(np.arange(count), np.flatnonzero((what[1:] != what[:-1]) | leap) + 1)
    if len(runs) > 1 and _alike(horizon, runs[-1], runs[0]):
        runs = [np.concatenate([runs[-1], runs[0]]), *runs[1:-1]]
    return runs


def _sides(horizon: Horizon, run: np.ndarray, minutes: np.ndarray) -> list[np.ndarray]:
    """One run without names is the whole circle: its morning and evening parts are separate; parts that take nothing are left out."""
    taking = run[minutes[run] > 0]
    if not len(taking):
        return []
    steps = (horizon.azimuth_deg[taking[1:]] - horizon.azimuth_deg[taking[:-1]]) % 360.0
    parts = np.split(taking, np.flatnonzero(steps > WIDE_GAP_DEG) + 1)
    around = (horizon.azimuth_deg[taking[0]] - horizon.azimuth_deg[taking[-1]]) % 360.0
    return [np.concatenate([parts[-1], parts[0]]), *parts[1:-1]] if len(parts) > 1 and around <= WIDE_GAP_DEG else parts


def _joined(horizon: Horizon, runs: list[np.ndarray], minutes: np.ndarray) -> list[np.ndarray]:
    """Slivers go to the neighbour that takes more sun, if one is near; then neighbours that are alike become one."""
    while len(runs) > 1:
        weights = [int(minutes[run].sum()) for run in runs]
        small = [k for k, weight in enumerate(weights) if 0 < weight < LEAST_MINUTES]
        pairs = [
            (weights[j], k, j)
            for k in small
            for j in ((k - 1) % len(runs), (k + 1) % len(runs))
            if weights[j] >= weights[k]
        ]
        pairs = [
            pair for pair in pairs if pair[1] != pair[2] and _belongs(horizon, runs[pair[1]], runs[pair[2]], minutes)
        ]
        if not pairs:
            break
        _, k, j = max(pairs)
        first, second = (k, j) if j == (k + 1) % len(runs) else (j, k)
        runs[first] = np.concatenate([runs[first], runs[second]])
        del runs[second]
    merged: list[np.ndarray] = []
    for run in runs:
        if merged and minutes[run].sum() and minutes[merged[-1]].sum() and _alike(horizon, merged[-1], run):
            merged[-1] = np.concatenate([merged[-1], run])
        else:
            merged.append(run)
    return merged


def _belongs(horizon: Horizon, sliver: np.ndarray, other: np.ndarray, minutes: np.ndarray) -> bool:
    """Whether a sliver lies beside what the other takes, and is of its kind (or too small to be worth a number)."""
    mine, others = (horizon.azimuth_deg[run[minutes[run] > 0]] for run in (sliver, other))
    gap = float(np.abs((mine[:, None] - others[None, :] + 180.0) % 360.0 - 180.0).min())
    if horizon.standing_m is None or minutes[sliver].sum() <= DUST_MINUTES:
        return gap <= SLIVER_GAP_DEG
    return gap <= SLIVER_GAP_DEG and bool((horizon.standing_m[sliver] > 0).any()) == bool(
        (horizon.standing_m[other] > 0).any()
    )


def _alike(horizon: Horizon, one: np.ndarray, other: np.ndarray) -> bool:
    gap = (horizon.azimuth_deg[other[0]] - horizon.azimuth_deg[one[-1]]) % 360.0
    if gap > SAME_GAP_DEG or _name(horizon, one) != _name(horizon, other):
        return False
    if horizon.distance_m is None:
        return True
    near, far = sorted((_median(horizon.distance_m[one]), _median(horizon.distance_m[other])))
    return not far > near * DISTANCE_JUMP  # true where the distance is unknown


def _median(values: np.ndarray) -> float:
    known = np.asarray(values, float)
    known = known[np.isfinite(known)]
    return float(np.median(known)) if len(known) else float("nan")


def _name(horizon: Horizon, run: np.ndarray) -> str:
    names = [horizon.what[k] for k in run] if horizon.what else [""]
    return max(dict.fromkeys(names), key=names.count)


def _blocker(horizon: Horizon, run: np.ndarray, minutes: np.ndarray) -> Blocker:
    taking = run[minutes[run] > 0]
    what = _name(horizon, taking)
    own = np.array(
        [k for k in taking if not horizon.what or horizon.what[k] == what]
    )  # not the slivers it was joined with
    top = own[int(np.argmax(horizon.top_deg[own]))]
    tall, at_top, nearest = None, None, None
    if horizon.standing_m is not None and np.isfinite(horizon.standing_m[top]):
        tall = float(horizon.standing_m[top])
    if horizon.distance_m is not None and np.isfinite(horizon.distance_m[top]):
        at_top, nearest = float(horizon.distance_m[top]), float(np.nanmin(horizon.distance_m[own]))
    kind = "" if tall is None else ("standing" if tall > 0 else "ground")
    total = int(minutes[run].sum())
    spread = float(horizon.azimuth_deg[taking[0]]), float(horizon.azimuth_deg[taking[-1]])
    place = float(horizon.top_deg[top]), float(horizon.azimuth_deg[top])
    return Blocker(0, what, kind, *spread, *place, at_top, nearest, tall, total, total < MINOR_MINUTES)
