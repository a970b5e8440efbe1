"""`grading`: grading and drainage plan of one candidate as layers, pictures, profiles and numbers."""

from __future__ import annotations

import argparse
from pathlib import Path
from typing import Any

from tunnelsite.hosts.cli.arguments import check_ending
from tunnelsite.hosts.cli.inputs_named import inputs_named
from tunnelsite.hosts.cli.progress import Progress
from tunnelsite.hosts.cli.project_values import check_screened, project_values
from tunnelsite.hosts.cli.setting_options import settings_asked
from tunnelsite.hosts.cli.stakeout import asked_candidate, ground_only, without_outputs
from tunnelsite.hosts.cli.streams import answer


def grading(given: argparse.Namespace) -> int:
    """Plan the earthwork and the drainage of one candidate and write what was planned."""
    from tunnelsite.io.read.site import inputs_unchanged
    from tunnelsite.io.write.outputs import reserved_outputs
    from tunnelsite.plans.grading.settings import GradingSettings
    from tunnelsite.settings.model import settings_from

    everything = project_values(given)
    settings_from(without_outputs(everything))  # wrong options are refused before anything is read
    values = ground_only(everything, keep=("service",))  # earth is moved over lines that lie there
    sites, rank = asked_candidate(given)
    asked = settings_asked(given, GradingSettings)
    outputs = _outputs(given)
    progress = Progress(quiet=given.quiet)
    with reserved_outputs(outputs, inputs_named(given, everything), overwrite=bool(given.overwrite)):
        progress("reading", 0.0)
        from tunnelsite.plans.candidate import find_candidate
        from tunnelsite.plans.grading.grade import grade_of

        found = find_candidate(values, sites, rank)
        check_screened(given, found.site)
        plan = grade_of(found, asked, progress)
        inputs_unchanged(found.site)
        plan.write_to(outputs, overwrite=bool(given.overwrite))
        progress("writing", 1.0)
    summary = plan.summary | {"outputs": {name: str(path) for name, path in outputs.items()}}
    answer(summary, lambda told: _words(told, feet=found.place.house.feet), as_json=given.json)
    return 0


def _outputs(given: argparse.Namespace) -> dict[str, Path]:
    from tunnelsite.plans.grading.grade import FILES
    from tunnelsite.plans.plan import named_files

    main = Path(given.out)
    check_ending("--out", main, ".gpkg")
    found = named_files(main.with_suffix(""), FILES) | {"layers": main}
    if given.png:
        from tunnelsite.drawing.png import require_png

        require_png()
        found |= {f"{name}_png": found[name].with_suffix(".png") for name in ("map", "profiles")}
    return found


def _words(summary: dict[str, Any], *, feet: bool) -> str:
    from tunnelsite.plans.grading.words import grading_lines

    lines = grading_lines(summary, feet=feet)
    lines += [f"assumed: {text}" for text in summary["assumed"]]
    lines += [f"note: {text}" for text in summary["notes"]]
    lines += [f"caution: {text}" for text in summary["cautions"]]
    lines += [f"written: {path}" for path in summary["outputs"].values()]
    return "\n".join(lines)
