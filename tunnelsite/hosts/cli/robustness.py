"""`robustness`: how firm a ranking is under other weights and under errors of the elevations; no terrain is computed again."""

from __future__ import annotations

import argparse
import contextlib
from pathlib import Path

from tunnelsite.core.errors import UsageError
from tunnelsite.core.units import number
from tunnelsite.hosts.cli.arguments import check_ending
from tunnelsite.hosts.cli.kept_regions import is_region, region_robustness
from tunnelsite.hosts.cli.streams import answer, say

SETTINGS = ("draws", "seed", "elevation_error", "error_range")


def robustness(given: argparse.Namespace) -> int:
    """Draw weights and grounds, rank a kept run again each time, and say how often each candidate takes each rank."""
    if is_region(given):
        return region_robustness(given)
    from tunnelsite.decisions.robustness import CONCENTRATION, StatedError
    from tunnelsite.decisions.robustness import robustness as drawn
    from tunnelsite.io.write.outputs import reserved_outputs
    from tunnelsite.screening.kept_run import kept_run
    from tunnelsite.settings.model import settings_from

    stated = {name for name in SETTINGS if getattr(given, name) is not None}
    asked = settings_from({name: getattr(given, name) for name in stated})
    concentration = CONCENTRATION if given.concentration is None else number(given.concentration, "--concentration")
    if not 0 <= concentration <= 1e6:
        raise UsageError(f"--concentration is {concentration:g}", "0 to 1000000", "correct it")
    out = None if given.out is None else Path(given.out)
    if out is not None:
        check_ending("--out", out, ".gpkg")
    error = StatedError(*(
        value if name in stated else None
        for name, value in (("elevation_error", asked.elevation_error_m), ("error_range", asked.error_range_m))
    ))  # fmt: skip
    held = contextlib.nullcontext() if out is None else reserved_outputs(
        {"--out": out}, [given.kept], overwrite=bool(given.overwrite)
    )  # fmt: skip
    with held:
        draws, seed = (getattr(asked, name) if name in stated else None for name in ("draws", "seed"))
        found = drawn(kept_run(given.kept), draws, seed, concentration, error)
        if out is not None:
            found.write(out, overwrite=bool(given.overwrite))
    answer(found.summary if given.json else found.rows, lambda told: found.words(), as_json=given.json)
    if out is not None and not given.json:
        say(f"Written to {out}.")
    return 0
