"""`rescore` and `compare`: rankings again and side by side, without computing terrain."""

from __future__ import annotations

import argparse
from pathlib import Path

from tunnelsite.core.errors import UsageError
from tunnelsite.hosts.cli.arguments import check_ending
from tunnelsite.hosts.cli.kept_regions import is_region, rescored_region
from tunnelsite.hosts.cli.setting_options import given_settings
from tunnelsite.hosts.cli.streams import answer

RUBRIC_PARTS = ("full_at", "none_at", "limit", "weight")


def rescore(given: argparse.Namespace) -> int:
    """Rank a kept run again with other weights, curves or limits, and write it."""
    from tunnelsite.settings.model import Settings, settings_from

    values = given_settings(given, Settings)
    for criterion, parts in values.get("rubric", {}).items():
        for part, value in parts.items():
            if part not in RUBRIC_PARTS:
                raise UsageError(
                    f"--rubric is {criterion}.{part}={value}",
                    "CRITERION.PART=NUMBER with " + ", ".join(RUBRIC_PARTS),
                    "correct it",
                )
    asked = settings_from(values)
    top = asked.top if "top" in values else None
    if is_region(given):
        return rescored_region(given, asked, top)
    from tunnelsite.hosts.cli.screening import summary_of
    from tunnelsite.hosts.cli.screening_words import words_of
    from tunnelsite.io.write.outputs import reserved_outputs
    from tunnelsite.screening.kept_run import kept_run

    out = Path(given.out)
    check_ending("--out", out, ".gpkg")
    with reserved_outputs({"--out": out}, [given.kept], overwrite=bool(given.overwrite)):
        result = kept_run(given.kept, lambda run: run.rescore(asked.weight, asked.rubric, top))
        result.write(out, overwrite=bool(given.overwrite))
    summary = summary_of(result, out, 0.0)
    answer(summary, lambda told: words_of(told, False), as_json=given.json)
    return 0


def compare(given: argparse.Namespace) -> int:
    """Two screenings, or several candidates of one, side by side."""
    if (given.second is None) == (given.ranks is None):
        raise UsageError(
            "compare was given " + ("one screening alone" if given.ranks is None else "two screenings and --ranks"),
            "two screenings, or one and --ranks such as 1,2,5",
            "give one or the other",
        )
    ranks = None if given.ranks is None else ranks_of(given.ranks)
    from tunnelsite.decisions.compare import compare as compared

    found = compared(given.first, given.second, ranks)
    if given.json:
        answer(found.summary, str, as_json=True)
    else:
        answer(found, lambda told: told.words(), as_json=False)
    return 0


def ranks_of(text: str) -> list[int]:
    """Ranks from words such as 1,2,5. Errors: UsageError."""
    try:
        return [int(word) for word in text.split(",")]
    except ValueError:
        raise UsageError(f"--ranks is {text!r}", "ranks such as 1,2,5", "correct it") from None
