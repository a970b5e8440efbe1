"""`robustness`: how firm a ranking is under other weights and under errors of the elevations; no terrain is computed again."""

from __future__ import annotations

import argparse
import contextlib
from pathlib import Path
from typing import Any

from tunnelsite.core.errors import UsageError
from tunnelsite.core.units import number
from tunnelsite.hosts.cli.arguments import check_ending
from tunnelsite.hosts.cli.streams import answer, say

SETTINGS = ("draws", "seed", "elevation_error", "error_range")


def robustness(given: argparse.Namespace) -> int:
    """Draw weights and grounds, rank a kept run again each time, and say how often each candidate takes each rank."""
    from tunnelsite.decisions.curves import curve_effects, curve_words
    from tunnelsite.decisions.robustness_tables import plan_rows, robustness_rows, robustness_words
    from tunnelsite.io.write.outputs import reserved_outputs
    from tunnelsite.scan.firmness.rank_shares import rank_shares
    from tunnelsite.scan.firmness.verdict import run_plan, told_verdict, verdict_of
    from tunnelsite.screening.kept_run import kept_run
    from tunnelsite.settings.model import settings_from

    asked = settings_from({name: getattr(given, name) for name in SETTINGS if getattr(given, name) is not None})
    concentration = 50.0 if given.concentration is None else number(given.concentration, "--concentration")
    if not 0 <= concentration <= 1e6:
        raise UsageError(f"--concentration is {concentration:g}", "0 to 1000000", "correct it")
    out = None if given.out is None else Path(given.out)
    if out is not None:
        check_ending("--out", out, ".gpkg")
    held = contextlib.nullcontext() if out is None else reserved_outputs(
        {"--out": out}, [given.kept], overwrite=bool(given.overwrite)
    )  # fmt: skip
    with held:
        from tunnelsite.core import catalogue
        from tunnelsite.scan.firmness.elsewhere import best_everywhere

        result = kept_run(given.kept)
        plan = _plan(given, asked, result, concentration)
        found = result.rank_shares if plan == run_plan(result) else rank_shares(result, catalogue.criteria(), plan)
        winners = best_everywhere(result, concentration, plan.draws, plan.seed)
        rows = robustness_rows(result, found, winners)
        curves = curve_effects(result)
        if out is not None:
            _write(result, (rows, found, winners), out, overwrite=bool(given.overwrite))
    if given.json:
        summary: dict[str, Any] = {"plan": {row["name"]: row["value"] for row in plan_rows(found)}, "places": rows}
        summary["verdict"] = told_verdict(verdict_of(found))
        summary["rank_acceptability"] = found.shares.tolist()
        summary["curves"] = [vars(one) for one in curves]
        answer(summary, str, as_json=True)
        return 0
    answer(rows, lambda told: "\n".join([robustness_words(told, found), *curve_words(curves)]), as_json=False)
    if out is not None:
        say(f"Written to {out}.")
    return 0


def _plan(given: argparse.Namespace, asked, result, concentration: float):
    """What to draw: the run's own settings where nothing else was asked, so that every command says the same of a run."""
    from tunnelsite.scan.firmness.rank_shares import DrawPlan

    told = {name: getattr(asked if getattr(given, name) is not None else result.settings, field)
            for name, field in zip(SETTINGS, ("draws", "seed", "elevation_error_m", "error_range_m"), strict=True)}  # fmt: skip
    stated = given.elevation_error is not None or given.error_range is not None
    error = (told["elevation_error"], told["error_range"]) if stated else (None, None)
    return DrawPlan(*error, told["draws"], told["seed"], concentration)


def _write(result, drawn, out: Path, *, overwrite: bool) -> None:
    from dataclasses import replace

    from tunnelsite.decisions.robustness_tables import acceptability_table, plan_rows, robustness_table
    from tunnelsite.screening.saving import write_tables

    rows, found, winners = drawn
    run = result.tables["run"]
    tables = (
        robustness_table(result, rows, winners),
        acceptability_table(found),
        replace(run, rows=[*run.rows, *plan_rows(found)]),
    )
    write_tables(result, {table.name: table for table in tables}, out, overwrite=overwrite)
