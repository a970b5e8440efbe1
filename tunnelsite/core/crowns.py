"""Crowns that pass a part of the beam: what kind of tree an obstacle is, and what it lets through with and without leaves."""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np

from tunnelsite.core.errors import InputRefused
from tunnelsite.core.layers import Features

# Bare maples and planes cut 30 to 40 % of the light [@heisler-1986] [@heisler-1985], other kinds more or less: 0.5 to 0.7 passes. 0.58 is
# on the safe side of the middle.
BARE_TRANSMISSION = 0.58
MOST_KINDS = 3  # each costs one more pass over the horizon


@dataclass(frozen=True)
class Crowns:
    """What the crowns of one kind pass of the beam, 0..1: `in_leaf` and, in the leafless months, `bare`."""

    in_leaf: float
    bare: float


@dataclass(frozen=True)
class CrownKinds:
    """Obstacles by what they pass.

    Attributes: kinds, from the densest to the thinnest, neither share falling; of_obstacle, int [n]: 0 = opaque all year, k = kinds[k - 1].
    notes: where a kind was taken for a denser one.
    """

    kinds: tuple[Crowns, ...]
    of_obstacle: np.ndarray
    notes: tuple[str, ...] = ()


def crown_kinds(obstacles: Features | None, bare_transmission: float = BARE_TRANSMISSION) -> CrownKinds:
    """The crowns among obstacles.

    Obstacles whose `kind` says deciduous are opaque in leaf and pass `bare_transmission` when bare; all others are opaque. The
    columns `transmission_leaf_on` and `transmission_leaf_off` (0..1), where filled, are used instead; an obstacle that is not
    deciduous and has only one of them filled passes that all year.

    Errors: InputRefused for a share outside 0..1, naming the obstacle.
    """
    if obstacles is None or not len(obstacles):
        return CrownKinds((), np.zeros(0, int))
    leafy = deciduous(obstacles)
    on, off = (_share(obstacles, f"transmission_leaf_{name}") for name in ("on", "off"))
    in_leaf = np.where(np.isfinite(on), on, np.where(leafy, 0.0, np.nan_to_num(off)))
    bare = np.where(np.isfinite(off), off, np.where(leafy, bare_transmission, np.nan_to_num(on)))
    pairs = sorted({(b, a) for a, b in zip(in_leaf.tolist(), bare.tolist(), strict=True) if max(a, b) > 0})
    groups = [[pair] for pair in pairs]
    notes = []
    while len(groups) > MOST_KINDS:  # the two neighbours that differ least become one
        gaps = [groups[k + 1][0][0] - groups[k][0][0] for k in range(len(groups) - 1)]
        k = int(np.argmin(gaps))
        groups[k : k + 2] = [groups[k] + groups[k + 1]]
        notes = [
            f"{len(pairs)} different transmissions of crowns were taken as {MOST_KINDS}, each for the densest of its group"
        ]
    densest = [(min(pair[0] for pair in group), min(pair[1] for pair in group)) for group in groups]
    kinds, least = [], 1.0
    for bare_share, leaf_share in reversed(densest):
        if leaf_share > least:
            notes.append(
                f"crowns that pass {bare_share:g} when bare were taken to pass {least:g} in leaf, not {leaf_share:g}"
            )
        least = min(least, leaf_share)
        kinds.append(Crowns(least, bare_share))
    number = {pair: k for k, group in enumerate(groups, 1) for pair in group}
    of = np.array([number.get((b, a), 0) for a, b in zip(in_leaf.tolist(), bare.tolist(), strict=True)], int)
    return CrownKinds(tuple(reversed(kinds)), of, tuple(notes))


def deciduous(obstacles: Features) -> np.ndarray:
    """bool [n]: obstacles whose column `kind` says deciduous."""
    column = _column(obstacles, "kind")
    if column is None:
        return np.zeros(len(obstacles), bool)
    return np.array([str(value).strip().lower().startswith("decid") for value in column], bool)


def _share(obstacles: Features, name: str) -> np.ndarray:
    """The column as shares, NaN where empty. Errors: InputRefused."""
    column = _column(obstacles, name)
    result = np.full(len(obstacles), np.nan)
    for k, value in enumerate([] if column is None else column):
        if value is None or value == "" or value != value:
            continue
        try:
            result[k] = float(value)
        except (TypeError, ValueError):
            result[k] = -1.0
        if not 0.0 <= result[k] <= 1.0:
            raise InputRefused(
                f"{obstacles.name}: {name} of feature {k + 1} is {value!r}",
                "a share from 0 to 1, or nothing",
                "correct it",
            )
    return result


def _column(obstacles: Features, wanted: str) -> np.ndarray | None:
    return next((values for name, values in obstacles.columns.items() if name.lower() == wanted), None)
