"""Several candidates of one run side by side: measures, marks, points, and in words what sets them apart."""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from dataclasses import asdict, dataclass
from typing import TYPE_CHECKING, Any

import numpy as np

from tunnelsite.core.counting import listed
from tunnelsite.core.notebook import notebook_frames
from tunnelsite.core.ridge_words import ridge_words
from tunnelsite.core.wording import inside, place_words
from tunnelsite.decisions.measure_words import label
from tunnelsite.decisions.measure_words import words as measure_words
from tunnelsite.scan.combine import UNKNOWN_MARK, dominance, filled_marks

if TYPE_CHECKING:
    import pandas

# Columns of a candidate that say where it is or repeat another; everything else that is a number is a measure.
NOT_MEASURES = (
    "feature_id", "fid", "rank", "score", "rank_in_parcel", "width_m", "length_m", "bearing_deg", "lon", "lat", "ground_m", "pad_m2",
)  # fmt: skip
LEAST_POINTS = 0.05  # smaller differences are not worth a word
MOST_REASONS = 4


@dataclass(frozen=True)
class WeighedCriterion:
    """A criterion with a weight."""

    id: str
    title: str
    weight: float


@dataclass(frozen=True, repr=False)
class SideBySide:
    """Candidates in the order asked for (n of them).

    Attributes:
        ranks, scores, places: of each; a place is parcel, house and bearing in words.
        measures: by column, one value each, None = not assessed. flags: words.
        criteria: what has a weight. marks: float64 [criteria, n], 0..1, NaN = not assessed.
        points: float64 [criteria, n], what each adds to the score; None where scores are no weighted mean.
        beaten: (rank, rank that beats it): at least as good on every mark and better on one.
        feet: whether their houses are in feet.
    """

    ranks: tuple[int, ...]
    scores: tuple[float, ...]
    places: tuple[str, ...]
    measures: dict[str, tuple[float | None, ...]]
    flags: tuple[str, ...]
    criteria: tuple[WeighedCriterion, ...]
    marks: np.ndarray
    points: np.ndarray | None
    beaten: tuple[tuple[int, int], ...]
    feet: bool = False

    @property
    def summary(self) -> dict[str, Any]:
        """Everything, ready for JSON."""
        told = asdict(self) | {"marks": self._by_criterion(self.marks), "reasons": self.reasons()}
        told["criteria"] = [[one.id, one.title, one.weight] for one in self.criteria]
        told["points"] = None if self.points is None else self._by_criterion(self.points)
        return told

    @property
    def tables(self) -> dict[str, pandas.DataFrame]:
        """`measures`, `marks` and, for a weighted mean, `points`: a row each, a column per rank."""
        import pandas

        found = {"measures": pandas.DataFrame(self.measures, index=list(self.ranks), dtype="Float64").T}
        for name, values in (("marks", self.marks), ("points", self.points)):
            if values is not None:
                index = [one.id for one in self.criteria]
                found[name] = pandas.DataFrame(values, index, list(self.ranks)).astype("Float64")
        return found

    def __repr__(self) -> str:
        scored = ", ".join(f"{rank} ({score:.1f})" for rank, score in zip(self.ranks, self.scores, strict=True))
        return f"<SideBySide: ranks {scored}>"

    def _repr_html_(self) -> str:
        return notebook_frames(repr(self), self.tables, self.reasons(), numbered=True)

    def _by_criterion(self, values: np.ndarray) -> dict[str, list[float | None]]:
        rows = zip(self.criteria, values, strict=True)
        return {one.id: [None if np.isnan(value) else float(value) for value in row] for one, row in rows}

    def words(self) -> str:
        """The comparison for people."""
        told = [
            (label(name), [measure_words(name, value, feet=self.feet) for value in values])
            for name, values in self.measures.items()
        ]
        wide = max(12, *(len(name) for name, _ in told), *(len(one.title) for one in self.criteria)) + 2
        each = max(12, *(len(text) + 2 for _, texts in told for text in texts))
        head = f"{'':{wide}}" + "".join(f"{'rank ' + str(rank):>{each}}" for rank in self.ranks)
        lines = [f"{rank}: {place}" for rank, place in zip(self.ranks, self.places, strict=True)] + ["", head]
        lines.append(_line("score", [f"{score:.1f}" for score in self.scores], wide, each))
        lines += [_line(name, texts, wide, each) for name, texts in told]
        what = "marks (0 to 1)" if self.points is None else "marks (0 to 1) and points"
        lines += ["", f"{what:{wide}}".rstrip()]
        for k, one in enumerate(self.criteria):
            values = ["-" if np.isnan(mark) else f"{mark:.2f}" for mark in self.marks[k]]
            if self.points is not None:
                values = [f"{value} {points:5.1f}" for value, points in zip(values, self.points[k], strict=True)]
            lines.append(_line(one.title, values, wide, each) + f"  weight {one.weight:g}")
        return "\n".join([*lines, "", *self.reasons(), *self._flag_words()])

    def reasons(self) -> list[str]:
        """What sets each apart from the first, the largest difference first."""
        said = []
        for k in range(1, len(self.ranks)):
            change = self.scores[k] - self.scores[0]
            more = (
                f"{abs(change):.1f} points {'more' if change > 0 else 'less'} than"
                if abs(change) >= 0.05
                else "as much as"
            )
            said.append(f"rank {self.ranks[k]} scores {more} rank {self.ranks[0]}{self._because(k)}")
        for worse, better in self.beaten:
            said.append(f"rank {better} is at least as good as rank {worse} on every mark, whatever the weights")
        if len(self.ranks) > 1 and not self.beaten:
            said.append("none of these beats another on every mark: which is better depends on the weights")
        return said + [words for k in range(len(self.ranks)) if (words := self._known_aside(k))]

    def _known_aside(self, k: int) -> str:
        """What is not known at a place itself but a step aside; empty where there is none such, or it counts half."""
        gone = np.isnan(self.marks[:, k])
        if self.points is None or not gone.any():
            return ""
        whole = 100 * sum(one.weight for one, lost in zip(self.criteria, gone, strict=True) if lost)
        whole /= sum(one.weight for one in self.criteria)
        found = float(self.points[gone, k].sum())
        if abs(found - UNKNOWN_MARK * whole) < LEAST_POINTS:
            return ""
        titles = [inside(one.title) for one, lost in zip(self.criteria, gone, strict=True) if lost]
        alone = len(titles) == 1
        return (
            f"rank {self.ranks[k]}: {listed(titles)} {'is' if alone else 'are'} not known at the place itself but a step aside, and "
            f"{'brings' if alone else 'bring together'} {found:.1f} of {whole:.1f} points over small shifts"
        )

    def _because(self, k: int) -> str:
        if self.points is None:
            return ""
        change = self.points[:, k] - self.points[:, 0]
        order = [int(i) for i in np.argsort(-np.abs(change), kind="stable") if abs(change[i]) >= LEAST_POINTS]
        if not order:
            return ": they score alike on every criterion"
        parts = [f"{change[i]:+.1f} for {inside(self.criteria[i].title)}" for i in order[:MOST_REASONS]]
        rest = float(sum(change[i] for i in order[MOST_REASONS:]))
        return ": " + ", ".join(parts) + (f", {rest:+.1f} for the rest" if abs(rest) >= LEAST_POINTS else "")

    def _flag_words(self) -> list[str]:
        return [f"rank {rank}: {flags}" for rank, flags in zip(self.ranks, self.flags, strict=True) if flags]


def side_by_side(
    columns: Mapping[str, Sequence[Any] | np.ndarray],
    criteria: Sequence[Mapping[str, Any]],
    ranks: Sequence[int],
    combine: str = "mean",
) -> SideBySide:
    """Set candidates of one run side by side.

    Arguments: columns of the layer `candidates`; criteria, rows of that table (criterion, title, weight); ranks, those wanted,
    in this order; combine, how marks became scores. Errors: ValueError for a rank that is not there.
    """
    known = [int(rank) for rank in columns["rank"]]
    at = [known.index(rank) for rank in ranks]

    def values(name: str) -> list[Any]:
        return [columns[name][k] for k in at]

    measures = {}
    for name in columns:
        if name in NOT_MEASURES or name.startswith("score_"):
            continue
        numbers = [_float(value) for value in values(name)]
        if any(number is not None for number in numbers):
            measures[name] = tuple(numbers)
    weighed = [row for row in criteria if float(row["weight"]) > 0 and f"score_{row['criterion']}" in columns]
    marks = np.array(
        [
            [np.nan if (v := _float(value)) is None else v for value in values(f"score_{row['criterion']}")]
            for row in weighed
        ],
        np.float64,
    ).reshape(len(weighed), len(at))
    weights = np.array([float(row["weight"]) for row in weighed])
    scores = np.array([float(value) for value in values("score")])
    places = [
        f"{parcel}, {house}, ridge {ridge_words(float(bearing))}, {place_words(float(lon), float(lat))}"
        for parcel, house, bearing, lon, lat in zip(
            *(values(name) for name in ("parcel", "house", "bearing_deg", "lon", "lat")), strict=True
        )
    ]
    return SideBySide(
        tuple(ranks),
        tuple(scores.tolist()),
        tuple(places),
        measures,
        tuple(str(value or "") for value in values("flags")),
        tuple(WeighedCriterion(str(row["criterion"]), str(row["title"]), float(row["weight"])) for row in weighed),
        marks,
        _points(marks, weights, scores) if combine == "mean" else None,
        _beaten(marks, ranks),
        all(str(house).strip().endswith("ft") for house in values("house")),
    )


def _points(marks: np.ndarray, weights: np.ndarray, scores: np.ndarray) -> np.ndarray:
    """What each criterion adds to the scores, float64 [criteria, n].

    A mark that is not known at the place itself may be known a step aside, and counts there: it is what the others leave of the score.
    Of several such marks only their sum is known, and it is shared out by weight.
    """
    total = weights.sum()
    if not total > 0:
        return np.zeros_like(marks)
    whole, unknown = np.broadcast_to(100 * weights[:, None] / total, marks.shape), np.isnan(marks)
    points = whole * filled_marks(marks)
    left = scores - np.sum(points, axis=0, where=~unknown)
    gone = np.sum(whole, axis=0, where=unknown)
    share = np.clip(np.divide(left, gone, out=np.full(left.shape, UNKNOWN_MARK), where=gone > 0), 0.0, 1.0)
    found: np.ndarray = np.where(unknown, whole * share, points)
    return found


def _beaten(marks: np.ndarray, ranks: Sequence[int]) -> tuple[tuple[int, int], ...]:
    found = []
    for worse in range(len(ranks)):
        for better in range(len(ranks)):
            if worse != better and not dominance(marks[:, [worse, better]])[0]:
                found.append((ranks[worse], ranks[better]))
    return tuple(found)


def _float(value: Any) -> float | None:
    try:
        number = float(value)
    except (TypeError, ValueError):
        return None
    return number if np.isfinite(number) else None


def _line(name: str, values: Sequence[str], wide: int, each: int) -> str:
    return f"{name:{wide}}" + "".join(f"{value:>{each}}" for value in values)
