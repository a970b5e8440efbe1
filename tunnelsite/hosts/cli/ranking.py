"""`rescore` and `compare`: rankings again and side by side, without computing terrain."""

from __future__ import annotations

import argparse
from pathlib import Path
from typing import Any

from tunnelsite.core.errors import UsageError
from tunnelsite.core.units import number
from tunnelsite.hosts.cli.arguments import check_ending
from tunnelsite.hosts.cli.streams import answer, say

RUBRIC_PARTS = ("full_at", "none_at", "limit", "weight")


def rescore(given: argparse.Namespace) -> int:
    """Rank a kept run again with other weights, curves or limits, and write it."""
    weights = dict(_pair(text, "--weight") for text in given.weight)
    rubrics: dict[str, dict[str, Any]] = {}
    for text in given.rubric:
        name, value = _pair(text, "--rubric")
        criterion, dot, part = name.partition(".")
        if not dot or part not in RUBRIC_PARTS:
            raise UsageError(
                f"--rubric is {text!r}", "CRITERION.PART=NUMBER with " + ", ".join(RUBRIC_PARTS), "correct it"
            )
        rubrics.setdefault(criterion, {})[part] = value
    from tunnelsite.hosts.cli.screening import summary_of
    from tunnelsite.hosts.cli.screening_words import words_of
    from tunnelsite.io.write.outputs import reserved_outputs
    from tunnelsite.screening.kept_run import kept_run

    out = Path(given.out)
    check_ending("--out", out, ".gpkg")
    with reserved_outputs({"--out": out}, [given.kept], overwrite=bool(given.overwrite)):
        result = kept_run(given.kept, lambda run: run.rescore(weights, rubrics, given.top))
        result.write(out, overwrite=bool(given.overwrite))
    summary = summary_of(result, out, 0.0)
    answer(summary, lambda told: words_of(told, False), as_json=given.json)
    return 0


def _pair(text: str, option: str) -> tuple[str, float]:
    name, equals, value = text.partition("=")
    if not equals or not name:
        raise UsageError(f"{option} is {text!r}", "NAME=NUMBER", "write it as NAME=NUMBER")
    return name, number(value, option)


def compare(given: argparse.Namespace) -> int:
    """Two screenings, or several candidates of one, side by side."""
    if (given.second is None) == (given.ranks is None):
        raise UsageError(
            "compare was given " + ("one screening alone" if given.ranks is None else "two screenings and --ranks"),
            "two screenings, or one and --ranks such as 1,2,5",
            "give one or the other",
        )
    return _compare_runs(given) if given.ranks is None else _compare_candidates(given)


def _compare_candidates(given: argparse.Namespace) -> int:
    """Candidates of one run: measures, marks, points and what sets them apart."""
    try:
        ranks = [int(text) for text in given.ranks.split(",")]
    except ValueError:
        raise UsageError(f"--ranks is {given.ranks!r}", "ranks such as 1,2,5", "correct it") from None
    if len(set(ranks)) < max(2, len(ranks)):
        raise UsageError(f"--ranks is {given.ranks!r}", "two or more different ranks", "correct it")
    from tunnelsite.decisions.side_by_side import side_by_side
    from tunnelsite.io.read.sites_file import ranks_of, read_run

    run = read_run(given.first)
    columns = run.candidates.columns
    known = ranks_of(run.candidates)
    for rank in ranks:
        if rank not in known:
            raise UsageError(
                f"--ranks names {rank}", f"1 to {len(known)}" if known else "a run with candidates", "correct it"
            )
    found = side_by_side(columns, run.criteria, ranks, run.settings.get("combine", "mean"))
    if not given.json:
        answer(found, lambda told: told.words(), as_json=False)
        return 0
    told = vars(found) | {"marks": _by_criterion(found, found.marks), "reasons": found.reasons()}
    told["points"] = None if found.points is None else _by_criterion(found, found.points)
    answer(told, str, as_json=True)
    return 0


def _by_criterion(found, values) -> dict[str, list[float | None]]:
    return {
        name: [None if value != value else float(value) for value in row]
        for (name, _, _), row in zip(found.criteria, values, strict=True)
    }


def _compare_runs(given: argparse.Namespace) -> int:
    """Two screenings: places in both, changes of rank and score, settings and inputs that differ."""
    from tunnelsite.core.reproject import reprojected
    from tunnelsite.decisions.compare import differing, in_words, paired
    from tunnelsite.io.read.sites_file import read_run

    first, second = read_run(given.first), read_run(given.second)
    shapes = [first.candidates.geometry, second.candidates.geometry]
    if len(second.candidates):
        shapes[1] = reprojected(second.candidates, first.candidates.crs).geometry
    scores = [[float(value) for value in run.candidates.columns.get("score", [])] for run in (first, second)]
    pairs = paired(shapes[0], scores[0], shapes[1], scores[1])
    found = {
        "pairs": [vars(pair) for pair in pairs],
        "settings": {name: list(values) for name, values in differing(first.settings, second.settings).items()},
        "inputs": {name: list(values) for name, values in differing(first.inputs, second.inputs).items()},
    }
    if given.json:
        answer(found, str, as_json=True)
        return 0
    say(f"{'first':>6} {'second':>6}  shared  change of score")
    for pair in pairs:
        ranks = ["-" if rank is None else str(rank) for rank in (pair.rank_a, pair.rank_b)]
        both = pair.rank_a is not None and pair.rank_b is not None
        say(
            f"{ranks[0]:>6} {ranks[1]:>6}  "
            + (f"{pair.overlap:5.0%}  {pair.score_change:+.2f}" if both else "only in one")
        )
    say(in_words(pairs))
    for what in ("settings", "inputs"):
        for name, (one, other) in found[what].items():
            say(
                f"{what[:-1]} {name}: {' | '.join('not given' if value is None else str(value) for value in (one, other))}"
            )
    return 0
