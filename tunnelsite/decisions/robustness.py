"""How firm a ranking is under other weights and errors of the elevations; no terrain is computed again."""

from __future__ import annotations

import os
from collections.abc import Sequence
from dataclasses import asdict, dataclass
from functools import cached_property
from pathlib import Path
from typing import TYPE_CHECKING, Any

from tunnelsite.core import catalogue
from tunnelsite.core.errors import UsageError, refuse_other
from tunnelsite.core.notebook import notebook_frames
from tunnelsite.core.shown import one_lined
from tunnelsite.core.table import Table
from tunnelsite.decisions.curves import CurveEffect, curve_effects, curve_words
from tunnelsite.decisions.robustness_tables import (
    acceptability_table,
    plan_rows,
    robustness_rows,
    robustness_table,
    robustness_words,
)
from tunnelsite.scan.firmness.elsewhere import Winner, best_everywhere
from tunnelsite.scan.firmness.rank_shares import DrawPlan, RankShares, rank_shares
from tunnelsite.scan.firmness.verdict import Verdict, run_plan, verdict_of, verdict_record
from tunnelsite.screening.result import Result
from tunnelsite.settings.model import settings_from

if TYPE_CHECKING:
    import pandas


CONCENTRATION = 50.0


@dataclass(frozen=True)
class StatedError:
    """Errors of the elevations: standard deviation `sd_m` and range `range_m` [m]; None = as in the screening."""

    sd_m: float | None = None
    range_m: float | None = None


@dataclass(frozen=True, repr=False)
class Robustness:
    """How firm a ranking is.

    Attributes: result; shares, how often each candidate takes each rank; winners, placements that are the best of all in some draws of
    the weights, listed or not; curves, what each curve half or twice as wide does to the order.
    """

    result: Result
    shares: RankShares
    winners: Sequence[Winner]
    curves: Sequence[CurveEffect]

    @cached_property
    def rows(self) -> list[dict[str, Any]]:
        """One dict per candidate, then one per place that is not listed but the best in some draws."""
        return robustness_rows(self.result, self.shares, self.winners)

    @property
    def verdict(self) -> Verdict:
        """How firm the lead of the first candidate is."""
        return verdict_of(self.shares)

    @property
    def summary(self) -> dict[str, Any]:
        """Everything, ready for JSON."""
        return {
            "plan": {row["name"]: row["value"] for row in plan_rows(self.shares)},
            "places": self.rows,
            "verdict": verdict_record(self.verdict),
            "rank_acceptability": self.shares.shares.tolist(),
            "curves": [asdict(one) for one in self.curves],
        }

    @property
    def tables(self) -> dict[str, pandas.DataFrame]:
        """`robustness` (a GeoDataFrame of footprints), `rank_acceptability` and `curves`."""
        import pandas

        from tunnelsite.plans.plan import data_frame
        from tunnelsite.screening.result import frame_of

        places, shares = self._tables()
        curves = pandas.DataFrame([asdict(one) for one in self.curves])
        return {places.name: frame_of(places), shares.name: data_frame(shares), "curves": curves}

    def words(self) -> str:
        """The same for people."""
        titles = {judge.id: judge.criterion.description.title for judge in self.result.judges}
        return "\n".join(
            [robustness_words(one_lined(self.rows), self.shares, titles), *curve_words(list(self.curves), titles)]
        )

    def write(self, path: str | os.PathLike[str], *, overwrite: bool = False) -> Path:
        """Write a GeoPackage with the footprints, the acceptability and the run. Errors: OutputFailed; what was there stays whole."""
        from tunnelsite.screening.saving import write_tables

        run = self.result.tables["run"]
        tables = (*self._tables(), run.with_rows([*run.rows, *plan_rows(self.shares)]))
        write_tables(self.result, {table.name: table for table in tables}, Path(path), overwrite=overwrite)
        return Path(path)

    def _tables(self) -> tuple[Table, Table]:
        return robustness_table(self.result, self.rows, self.winners), acceptability_table(self.shares)

    def __repr__(self) -> str:
        return f"<Robustness: {self.verdict.sentence}>"

    def _repr_html_(self) -> str:
        frames = self.tables
        frames["robustness"] = frames["robustness"].drop(columns="geometry")
        return notebook_frames(self.verdict.sentence, frames)


def robustness(
    result: Result,
    draws: int | None = None,
    seed: int | None = None,
    concentration: float = CONCENTRATION,
    error: StatedError | None = None,
) -> Robustness:
    """Draw weights and grounds, rank again each time, and see how often each candidate takes each rank.

    Args:
        result: a screening, or a kept run.
        draws: how many; None = as in the screening.
        seed: of the draws; None = as in the screening.
        concentration: of the weights round the given ones, 0 = any weights at all; see `drawn_weights`.
        error: of the elevations; None = as in the screening.

    Returns:
        Robustness.

    Raises:
        UsageError: for numbers out of range, or a run without candidates.
    """
    refuse_other(result, "result", Result)
    asked = {"draws": draws, "seed": seed} | (
        {} if error is None else {"elevation_error": error.sd_m, "error_range": error.range_m}
    )
    settings_from(
        {name: value for name, value in asked.items() if value is not None}
    )  # what is out of range is refused
    if not 0 <= concentration <= 1e6:
        raise UsageError(f"concentration is {concentration:g}", "0 to 1000000", "correct it")
    plan = _plan(result, draws, seed, concentration, error)
    shares = result.rank_shares if plan == run_plan(result) else rank_shares(result, catalogue.criteria(), plan)
    winners = best_everywhere(result, concentration, plan.draws, plan.seed)
    return Robustness(result, shares, winners, curve_effects(result))


def _plan(
    result: Result, draws: int | None, seed: int | None, concentration: float, error: StatedError | None
) -> DrawPlan:
    """What to draw: the run's own settings where nothing else is asked, so that every host says the same of a run."""
    settings = result.settings
    sd_m = range_m = None
    if error is not None and (error.sd_m, error.range_m) != (None, None):
        sd_m = settings.elevation_error_m if error.sd_m is None else error.sd_m
        range_m = settings.error_range_m if error.range_m is None else error.range_m
    return DrawPlan(
        sd_m,
        range_m,
        settings.draws if draws is None else draws,
        settings.seed if seed is None else seed,
        concentration,
    )
