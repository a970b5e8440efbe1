"""Two screenings, or several candidates of one, side by side."""

from __future__ import annotations

import os
from collections.abc import Mapping, Sequence
from dataclasses import asdict, dataclass, replace
from typing import TYPE_CHECKING, Any, Protocol

import numpy as np
import shapely

from tunnelsite.core.errors import UsageError, refuse_other
from tunnelsite.core.layers import Features
from tunnelsite.core.notebook import notebook_frames
from tunnelsite.core.reproject import reprojected
from tunnelsite.decisions.side_by_side import SideBySide, side_by_side
from tunnelsite.io.read.sites_file import FinishedRun, ranks_of, read_run, run_of_tables
from tunnelsite.screening.result import Result

if TYPE_CHECKING:
    import pandas

Shapes = Sequence[shapely.Geometry] | np.ndarray
MOST_PAIRS = 60  # lines that a person still reads
LEAST_OVERLAP = 0.5  # of the smaller footprint: two candidates are the same place


@dataclass(frozen=True)
class Pair:
    """A place of one run and its counterpart in the other; None where it has none. `overlap` is the shared area as a
    share of the smaller footprint; `score_change` is second minus first; `house_a`, `house_b`: size of the house of each."""

    rank_a: int | None
    rank_b: int | None
    overlap: float
    score_change: float | None
    house_a: str | None = None
    house_b: str | None = None

    @property
    def is_resized(self) -> bool:
        """Whether the place holds a house of another size in the second run."""
        return None not in (self.rank_a, self.rank_b) and self.house_a != self.house_b


class Comparison(Protocol):
    """What sets two screenings, or candidates of one, apart."""

    @property
    def summary(self) -> dict[str, Any]:
        """Everything, ready for JSON."""

    @property
    def tables(self) -> dict[str, pandas.DataFrame]:
        """Tables by name; what was not assessed is missing."""

    def words(self) -> str:
        """The comparison for people."""


@dataclass(frozen=True, repr=False)
class RunsCompared:
    """Two screenings side by side.

    Attributes: pairs, in order of the first ranking, then what only the second holds. settings, inputs: by name those that differ, as
    (first, second); None where one run does not state it.
    """

    pairs: tuple[Pair, ...]
    settings: dict[str, tuple[Any, Any]]
    inputs: dict[str, tuple[Any, Any]]

    @property
    def summary(self) -> dict[str, Any]:
        """Everything, ready for JSON."""
        return {
            "pairs": [asdict(pair) for pair in self.pairs],
            "settings": {name: list(values) for name, values in self.settings.items()},
            "inputs": {name: list(values) for name, values in self.inputs.items()},
        }

    @property
    def tables(self) -> dict[str, pandas.DataFrame]:
        """`pairs` of places; `settings` and `inputs` that differ."""
        import pandas

        pairs = pandas.DataFrame([asdict(pair) for pair in self.pairs]).convert_dtypes()
        differing = {"settings": self.settings, "inputs": self.inputs}
        return {"pairs": pairs} | {
            name: pandas.DataFrame([(key, *two) for key, two in values.items()], columns=["name", "first", "second"])
            for name, values in differing.items()
        }

    def words(self) -> str:
        """The comparison for people."""
        lines = [f"{'first':>6} {'second':>6}  shared  change of score"]
        for pair in self.pairs[:MOST_PAIRS]:
            ranks = ["-" if rank is None else str(rank) for rank in (pair.rank_a, pair.rank_b)]
            both = pair.rank_a is not None and pair.rank_b is not None
            told = (
                f"{pair.overlap:5.0%}  {pair.score_change:+.2f}"
                if both
                else f"only in the {'first' if pair.rank_a else 'second'}"
            )
            size = f"  for {pair.house_b}, not {pair.house_a}" if pair.is_resized else ""
            lines.append(f"{ranks[0]:>6} {ranks[1]:>6}  {told}{size}")
        if len(self.pairs) > MOST_PAIRS:
            lines.append(f"... and {len(self.pairs) - MOST_PAIRS:,} more: --json lists all")
        lines.append(in_words(self.pairs))
        for what, found in (("setting", self.settings), ("input", self.inputs)):
            for name, values in found.items():
                first, second = (
                    "not given" if value is None else str(value).removeprefix("sha256 ") for value in values
                )
                lines.append(f"{what} {name}: {first} in the first, {second} in the second")
        return "\n".join(lines)

    def __repr__(self) -> str:
        return f"<RunsCompared: {in_words(self.pairs)}>"

    def _repr_html_(self) -> str:
        return notebook_frames(in_words(self.pairs), self.tables)


def compare(
    a: Result | str | os.PathLike[str],
    b: Result | str | os.PathLike[str] | None = None,
    ranks: Sequence[int] | None = None,
) -> Comparison:
    """Two screenings side by side, or several candidates of one.

    Args:
        a: a screening, or the GeoPackage it wrote.
        b: another; None compares candidates of `a`.
        ranks: which candidates, two or more, the first being the one the others are measured against; None = the first three.

    Returns:
        Comparison.

    Raises:
        InputRefused: for a file that no screening wrote.
        UsageError: for ranks that are not there, or ranks and two screenings.
    """
    if b is None:
        return _candidates_compared(_finished(a), ranks)
    if ranks is not None:
        raise UsageError("compare was given two screenings and ranks", "one or the other", "leave the ranks out")
    return _runs_compared(_finished(a), _finished(b))


def _finished(of: Result | str | os.PathLike[str]) -> FinishedRun:
    if not isinstance(of, Result):
        refuse_other(of, "a screening", Result, str, os.PathLike)
        return read_run(os.fspath(of))
    table = of.tables["candidates"]
    columns = {name: np.array(table.values(name), object) for name in table.columns}
    name = of.site.parcels.name
    candidates = Features(np.asarray(table.geometry, object), columns, table.crs, name)
    return run_of_tables(candidates, of.tables["run"].rows, of.tables["criteria"].rows)


def _candidates_compared(run: FinishedRun, ranks: Sequence[int] | None) -> SideBySide:
    known = ranks_of(run.candidates)
    wanted = known[:3] if ranks is None else list(ranks)
    if len(set(wanted)) < max(2, len(wanted)):
        given = f"ranks are {', '.join(map(str, wanted)) or 'not there'}"
        raise UsageError(given, "two or more different ranks", "correct it")
    for rank in wanted:
        if rank not in known:
            expected = f"1 to {len(known)}" if known else "a run with candidates"
            raise UsageError(f"ranks name {rank}", expected, "correct it")
    return side_by_side(run.candidates.columns, run.criteria, wanted, run.settings.get("combine", "mean"))


def _runs_compared(first: FinishedRun, second: FinishedRun) -> RunsCompared:
    shapes = [first.candidates.geometry, second.candidates.geometry]
    if len(second.candidates) and first.candidates.crs is not None:
        shapes[1] = reprojected(second.candidates, first.candidates.crs).geometry
    scores = [[float(value) for value in run.candidates.columns.get("score", [])] for run in (first, second)]
    houses = [[None, *run.candidates.columns.get("house", [])] for run in (first, second)]  # by rank
    pairs = [
        replace(pair, house_a=houses[0][pair.rank_a or 0], house_b=houses[1][pair.rank_b or 0])
        for pair in paired(shapes[0], scores[0], shapes[1], scores[1])
    ]
    return RunsCompared(
        tuple(pairs),
        differing(first.settings, second.settings),
        differing(first.inputs, second.inputs),
    )


def paired(first: Shapes, scores_a: Sequence[float], second: Shapes, scores_b: Sequence[float]) -> list[Pair]:
    """Match the footprints of two rankings, those that are most alike first, each at most once.

    Arguments: first, second, shapely polygons in one projected coordinate system, in order of rank; scores of each.
    Return: pairs in order of the first ranking, then what only the second holds.
    """
    a, b = np.asarray(first, object), np.asarray(second, object)
    mine, other = shapely.STRtree(b).query(a, predicate="intersects")  # of a county's thousands few lie on one another
    common = shapely.area(shapely.intersection(a[mine], b[other]))
    sizes = shapely.area(a[mine]), shapely.area(b[other])
    share, alike = common / np.minimum(*sizes), common / np.maximum(*sizes)  # a small house may lie in a large one
    match: dict[int, tuple[int, float]] = {}
    taken: set[int] = set()
    for k in np.lexsort((other, mine, -share.round(6), -alike.round(6))).tolist():
        i, j = int(mine[k]), int(other[k])
        if share[k] >= LEAST_OVERLAP and i not in match and j not in taken:
            match[i] = j, float(share[k])
            taken.add(j)
    pairs = [Pair(i + 1, None, 0.0, None) for i in range(len(a))]
    for i, (j, shared) in match.items():
        pairs[i] = Pair(i + 1, j + 1, shared, float(scores_b[j] - scores_a[i]))
    return pairs + [Pair(None, j + 1, 0.0, None) for j in range(len(b)) if j not in taken]


def differing(a: Mapping[str, Any], b: Mapping[str, Any]) -> dict[str, tuple[Any, Any]]:
    """Settings whose values differ, as (first, second); None where one run does not state it."""
    return {key: (a.get(key), b.get(key)) for key in sorted({*a, *b}) if a.get(key) != b.get(key)}


def in_words(pairs: Sequence[Pair]) -> str:
    """How far two rankings agree, in a sentence or two."""
    both = [pair for pair in pairs if pair.rank_a is not None and pair.rank_b is not None]
    first, second = (sum(getattr(pair, name) is not None for pair in pairs) for name in ("rank_a", "rank_b"))
    if not both:
        return f"no place is in both rankings ({first} and {second} candidates)"
    said = [
        f"{len(both)} {'place is' if len(both) == 1 else 'places are'} in both rankings ({first} and {second} candidates)"
    ]
    same = sum(pair.rank_a == pair.rank_b for pair in both)
    moved = max(both, key=lambda pair: abs((pair.rank_b or 0) - (pair.rank_a or 0)))  # both are there
    kept = f"{same or 'none'} keep{'s its' if same < 2 else ' their'} rank"
    said.append(kept if same < len(both) else "all keep their rank")
    resized = sum(pair.is_resized for pair in both)
    said += [f"at {resized} the house has another size"] if resized else []
    if moved.rank_a != moved.rank_b:
        said.append(f"the largest move is from {moved.rank_a} to {moved.rank_b}")
    top = next((pair for pair in both if pair.rank_a == 1), None)
    if top is None:
        said.append("the best place of the first is not in the second")
    elif top.rank_b != 1:
        said.append(f"the best place of the first is number {top.rank_b} in the second")
    return "; ".join(said)
