"""How far what a region says hangs on weights, limits and the errors of the heights; no terrain is computed again."""

from __future__ import annotations

import os
from collections.abc import Mapping
from dataclasses import dataclass, replace
from functools import cached_property
from pathlib import Path
from typing import TYPE_CHECKING, Any

import numpy as np

from tunnelsite.core.errors import UsageError
from tunnelsite.core.process import Progress, silent
from tunnelsite.core.table import INTEGER, REAL, TEXT, Heading, Table, columns_of_rows, table_of
from tunnelsite.region.draw_statistics import SHARES, quantiles, rank_correlations
from tunnelsite.region.kept_region import KeptRegion
from tunnelsite.region.parcel_columns import house_column
from tunnelsite.region.sensitivity_words import ALL, sensitivity_words
from tunnelsite.region.worker_pool import WorkerPool
from tunnelsite.scan.firmness.parcel_draws import ParcelPlan, parcel_draws
from tunnelsite.screening.kept_run import of_kept_run
from tunnelsite.screening.loose_run import LOOSER

if TYPE_CHECKING:
    import pandas

    from tunnelsite.region.tasks import Task
    from tunnelsite.screening.result import Result

SURE = 0.9  # of the draws: a parcel that is feasible in more of them, or in fewer than the rest, is counted as settled (ours)
PARCEL_COLUMNS = {
    "feasible_share": Heading(
        REAL,
        "share of the draws in which a house has room on the drawn ground; water runs as screened; NULL where `feasible` is",
        "0-1",
    ),
    "score_p10": Heading(
        REAL, "score of the best place: 10 % quantile over the draws in which it is feasible", "0-100"
    ),
    "score_p50": Heading(REAL, "the same, median", "0-100"),
    "score_p90": Heading(REAL, "the same, 90 % quantile", "0-100"),
}
COLUMNS = {
    "house": Heading(TEXT, "house size as given"),
    "drawn": Heading(TEXT, "what is drawn at random; where water runs is not found again for drawn heights"),
    "parcels": Heading(INTEGER, "parcels of which it is known whether they hold a place: shares are of them"),
    "feasible": Heading(REAL, "share of the parcels that are feasible as screened", "0-1"),
    "feasible_p10": Heading(REAL, "share of the parcels that are feasible in a draw: 10 % quantile over the draws", "0-1"),
    "feasible_p50": Heading(REAL, "the same, median", "0-1"),
    "feasible_p90": Heading(REAL, "the same, 90 % quantile", "0-1"),
    "unsettled": Heading(INTEGER, "parcels that are feasible in 10 to 90 % of the draws"),
    "rank_correlation_p10": Heading(
        REAL, "rank correlation (Spearman) of the parcels' best scores in a draw with those as screened: 10 % quantile"
    ),
    "rank_correlation_p50": Heading(REAL, "the same, median"),
    "rank_correlation_p90": Heading(REAL, "the same, 90 % quantile"),
}  # fmt: skip
STATEMENT = (
    "Parcels of a region screened by tunnelsite under weights, limits and heights drawn at random; see the run table."
)


@dataclass(frozen=True, repr=False)
class Sensitivity:
    """What becomes of a region under other weights, limits and heights.

    Attributes:
        region: the kept region. plan: what was drawn.
        scores: by what was drawn and by house, float32 [parcels, draws], score 0-100 of the best place on the drawn ground, NaN = the
            parcel is not feasible there, or was not screened.
    """

    region: KeptRegion
    plan: ParcelPlan
    scores: Mapping[str, Mapping[str, np.ndarray]]

    @cached_property
    def parcels(self) -> Table:
        """The layer `parcels` with four more columns for each house size."""
        table, rows = self.region.parcels, [dict(row) for row in self.region.parcels.rows]
        headings = table.headings
        for house, scores in self.scores[ALL].items():
            known = self._decided(house)
            names = [house_column(name, house) for name in PARCEL_COLUMNS]
            headings |= {
                name: Heading(column.kind, f"{house}: {column.title}", column.unit)
                for name, column in zip(names, PARCEL_COLUMNS.values(), strict=True)
            }
            there = np.isfinite(scores)
            found = quantiles(scores)
            for k in np.flatnonzero(known).tolist():
                values = (float(there[k].mean()), *map(float, found[:, k]))
                rows[k] |= dict(zip(names, values, strict=True))
        return replace(table, columns=columns_of_rows(headings, rows))

    @cached_property
    def rows(self) -> list[dict[str, Any]]:
        """A row for each house size and for what was drawn, everything together first."""
        return [
            self._of(house, scores[house]) | {"drawn": drawn}
            for house in self.region.houses
            for drawn, scores in self.scores.items()
            if house in scores
        ]

    @property
    def tables(self) -> dict[str, pandas.DataFrame]:
        """`parcels` (a GeoDataFrame) and `sensitivity`."""
        from tunnelsite.plans.plan import data_frame
        from tunnelsite.screening.result import frame_of

        return {"parcels": frame_of(self.parcels), "sensitivity": data_frame(self._table)}

    @property
    def pictures(self) -> dict[str, str]:
        """SVG: `spread`, how far shares and orders move; `parcels`, a map of the share of the draws for each house size."""
        from tunnelsite.region.sensitivity_pictures import share_map, spread_chart

        columns = {house: house_column("feasible_share", house) for house in self.scores[ALL]}
        return {"spread": spread_chart(self.rows), "parcels": share_map(self.parcels, columns)}

    @property
    def summary(self) -> dict[str, Any]:
        """What was drawn and the rows, ready for JSON."""
        plan = {row["name"]: row["value"] for row in self._plan_rows}
        return {"plan": plan, "doubts": self.region.doubts, "sensitivity": self.rows}

    def words(self) -> str:
        """The same for people, below what makes the region's heights doubtful."""
        return "\n".join([*self.region.doubts, sensitivity_words(self.rows, self.plan, len(self.region.parcels.rows))])

    def write(self, path: str | os.PathLike[str], *, overwrite: bool = False) -> Path:
        """Write a GeoPackage with the parcels, the table and the run. Errors: OutputFailed; what was there stays whole."""
        from tunnelsite.io.formats.styles import score_breaks
        from tunnelsite.io.write.plan_files import write_plan
        from tunnelsite.region.saving import parcels_sld

        run = self.region.run.with_rows([*self.region.run.rows, *self._plan_rows])
        best = [row["best_score"] for row in self.parcels.rows if row.get("best_score") is not None]
        write_plan(
            path, [self.parcels, self._table, run], crs=self.region.crs, statement=STATEMENT, sources=self.region.sources,
            overwrite=overwrite, styles={"parcels": parcels_sld(score_breaks(best))},
        )  # fmt: skip
        return Path(path)

    def __repr__(self) -> str:
        return f"<Sensitivity: {len(self.region.parcels.rows):,} parcels, {self.plan.draws} draws>"

    @property
    def _table(self) -> Table:
        return table_of(
            "sensitivity",
            "Parcels with room, and their order, under drawn weights, limits and heights",
            COLUMNS,
            self.rows,
        )

    @property
    def _plan_rows(self) -> list[dict[str, str]]:
        plan = self.plan
        told = {
            "draws": plan.draws, "seed": plan.seed, "concentration": f"{plan.concentration:g}", "limit_range": f"{plan.limit_range:g}",
            "parcels_drawn": "the house where the model puts it in each draw, on the drawn ground",
            "not_drawn": "sun, wind, distances and where water runs: these stay as measured",
        }  # fmt: skip
        return [{"kind": "sensitivity", "name": name, "value": str(value)} for name, value in told.items()]

    def _decided(self, house: str) -> np.ndarray:
        """Which parcels are known to hold a place for a house, or to hold none, bool [n]."""
        found = self.region.parcels.values(house_column("feasible", house))
        return np.array([value is not None and np.isfinite(value) for value in found], bool)

    def _of(self, house: str, scores: np.ndarray) -> dict[str, Any]:
        known = self._decided(house)
        if not known.any():
            return dict.fromkeys(COLUMNS, None) | {"house": house, "parcels": 0, "unsettled": 0}
        feasible = np.array(self.region.parcels.values(house_column("feasible", house)), float)[known]
        base = np.array(self.region.parcels.values(house_column("best_score", house)), float)[known]
        there = np.isfinite(scores[known])
        often = there.mean(axis=1)
        found = {
            "house": house, "parcels": int(known.sum()), "feasible": float(feasible.mean()),
            "unsettled": int(((often >= 1 - SURE) & (often <= SURE)).sum()),
        }  # fmt: skip
        for name, values in (
            ("feasible", there.mean(axis=0)),
            ("rank_correlation", rank_correlations(base, scores[known])),
        ):
            each = (
                np.quantile(values[np.isfinite(values)], SHARES).tolist()
                if np.isfinite(values).any()
                else [None] * len(SHARES)
            )
            found |= {f"{name}_p{round(100 * share)}": value for share, value in zip(SHARES, each, strict=True)}
        return found


def sensitivity(
    region: KeptRegion, plan: ParcelPlan | None = None, workers: int | WorkerPool = 0, progress: Progress = silent
) -> Sensitivity:
    """Draw weights, limits and heights, and see how many parcels keep room for a house and whether their order holds.

    Args:
        region: from `kept_region`.
        plan: what to draw; None = 500 draws of everything (`ParcelPlan()`).
        workers: processes that work at the same time, 0 = this one; or a `WorkerPool`.
        progress: called with (what is being done, share done 0..1).

    Returns:
        Sensitivity, with everything drawn together and each alone; the same for any number of workers.

    Raises:
        UsageError: for numbers out of range.
        InputRefused: for a run that is damaged.
    """
    plan = checked_plan(plan or ParcelPlan())
    plans = {
        ALL: plan,
        "weights": replace(plan, limit_range=0.0, heights=False),
        "limits": replace(plan, concentration=None, heights=False),
        "heights": replace(plan, concentration=None, limit_range=0.0),
    }
    pool = workers if isinstance(workers, WorkerPool) else WorkerPool(workers)

    def more(task: Task) -> tuple[Any, ...]:
        return dict(region.limits), plans, task.number

    found = region.outcomes(task_draws, more, pool, progress)
    shape = (len(region.parcels.rows), plan.draws)
    scores = {drawn: {house: np.full(shape, np.nan, np.float32) for house in region.houses} for drawn in plans}
    for task in region.tasks:
        for drawn, by_house in found[task.number].items():
            for house, values in by_house.items():
                scores[drawn][house][task.parcels] = values
    return Sensitivity(region, plan, scores)


def checked_plan(plan: ParcelPlan) -> ParcelPlan:
    """The same plan. Errors: UsageError for numbers out of range."""
    bounds = {
        "draws": (plan.draws, 1, 100_000),
        "seed": (plan.seed, 0, 2**31 - 1),
        "concentration": (plan.concentration, 0, 1e6),
    }
    for name, (value, least, most) in bounds.items():
        if value is None or not least <= value <= most:
            raise UsageError(f"{name} is {value}", f"{least:g} to {most:g}", "correct it")
    if not 0 <= plan.limit_range <= LOOSER:
        raise UsageError(
            f"the limit range is {plan.limit_range:g}",
            f"0 to {LOOSER:g}: with limits so much looser the runs were kept",
            "correct it",
        )
    return plan


def task_draws(
    path: Path, limits: Mapping[str, float | None], plans: Mapping[str, ParcelPlan], number: int
) -> dict[str, dict[str, np.ndarray]]:
    """What becomes of the parcels of one task, by what is drawn and by house: float32 [parcels, draws].

    Arguments: path of its kept run; limits as asked, by criterion; plans, by what is drawn; number of the task.
    Errors: InputRefused for a run that is damaged.
    """

    def drawn(run: Result) -> dict[str, dict[str, np.ndarray]]:
        judges = [
            replace(judge, rubric=replace(judge.rubric, limit=limits.get(judge.id, judge.rubric.limit)))
            for judge in run.judges
        ]
        found = parcel_draws(run, judges, plans, number)
        return {
            name: {house: values.astype(np.float32) for house, values in by_house.items()}
            for name, by_house in found.items()
        }

    return of_kept_run(path, drawn)
