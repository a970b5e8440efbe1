"""`explain`: why a candidate ranks where it does, or why a place is not offered."""

from __future__ import annotations

import argparse
import dataclasses

from tunnelsite.core.errors import UsageError
from tunnelsite.core.units import number
from tunnelsite.hosts.cli.options import project_values
from tunnelsite.hosts.cli.progress import Progress
from tunnelsite.hosts.cli.streams import answer, say


def explain(given: argparse.Namespace) -> int:
    """Screen with the same options and explain one candidate or one place (for every house and bearing)."""
    if (given.at is None) == (given.rank is None):
        raise UsageError(
            "explain was given neither or both of --at and --rank", "--at LON LAT or --rank N", "give one of them"
        )
    place = None if given.at is None else tuple(number(text, "--at") for text in given.at)
    import numpy as np

    from tunnelsite.decisions.explain import explain_at, explain_rank
    from tunnelsite.io.read.site import site_from
    from tunnelsite.scan.firmness.other_weights import both_within, pitch_errors
    from tunnelsite.scan.firmness.verdict import told_verdict
    from tunnelsite.screening.run import screen
    from tunnelsite.settings.model import settings_from

    settings = settings_from(project_values(given))
    result = screen(site_from(settings), settings=settings, progress=Progress(quiet=given.quiet))
    extra: dict[str, float] = {}
    if place is not None:
        found = [explain_at(result, *place, scan) for scan in range(len(result.scans))]
    else:
        found = [explain_rank(result, given.rank)]
        shares = result.rank_shares
        extra["first_share"] = float(shares.first[given.rank - 1])
        extra["top_3_share"] = float(shares.top[given.rank - 1])
        chance = both_within(result.rows[given.rank - 1], pitch_errors(result)[given.rank - 1].both)
        if np.isfinite(chance):
            extra["chance_pitch_within_1_192"] = chance
    if given.json:
        told = {"doubts": result.doubts, "places": [dataclasses.asdict(item) for item in found], **extra}
        if place is None:
            told["verdict"] = told_verdict(result.verdict)
        answer(told, str, as_json=True)
        return 0
    say(*(f"DOUBT: {text}" for text in result.doubts))
    answer(found, lambda told: "\n\n".join(item.words() for item in told), as_json=False)
    words = {
        "first_share": "is first of the candidates in {:.0%} of the draws of weights and heights",
        "top_3_share": "is among the best three in {:.0%} of them",
        "chance_pitch_within_1_192": "chance that the ground is within 1/192 both ways: {:.0%}, by the pitch's standard error",
    }
    for name, value in extra.items():
        say(words[name].format(value))
    if place is None:
        say(result.verdict.sentence)
    return 0
