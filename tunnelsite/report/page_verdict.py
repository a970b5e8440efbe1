"""How firm the order of the options is, in words without statistics: other weights, and heights with the water on them."""

from __future__ import annotations

from collections.abc import Sequence
from typing import TYPE_CHECKING

from tunnelsite.report.chosen import PageOption
from tunnelsite.scan.firmness.verdict import share_words, why_words

if TYPE_CHECKING:
    from tunnelsite.screening.result import Result


def verdict_words(result: Result, options: Sequence[PageOption]) -> list[str]:
    """Sentences on the lead of the first option, ties before the rest. Arguments: result; options, one each, none = by rank."""
    verdict, shares = result.verdict, result.rank_shares
    if verdict is None or verdict.runner_up is None:
        return ["It is the only option, so nothing competes with it."]
    first, other = _label(options, 1), _label(options, verdict.runner_up)
    lead = (
        "The lead is not settled"
        if verdict.words == "not settled"
        else f"The lead of option {first} is {verdict.words}"
    )
    water = " and the water routed on them" if "drainage" in shares.redrawn else ""
    doubts = (
        f"{lead}: it was ranked {verdict.draws} times over, each time with somewhat other weights and with the heights changed within "
        f"their error, and option {first} came first in {share_words(verdict.first)} of these trials, option {other} in "
        f"{share_words(verdict.runner_up_first)}. With other weights alone option {first} came first in "
        f"{share_words(float(shares.first_by_weights[0]))}, with other heights{water} alone in "
        f"{share_words(float(shares.first_by_errors[0]))}."
    )
    labels = [_label(options, rank) for rank in range(1, verdict.options + 1)]
    why = why_words(shares, verdict.words, verdict.runner_up, labels)
    return [words for words in (verdict.ties_of(labels), why, doubts) if words]


def _label(options: Sequence[PageOption], rank: int) -> str:
    return options[rank - 1].label if options else str(rank)
