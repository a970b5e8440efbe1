"""How firm the lead of the first option is: one answer for every host, by weights and errors drawn together."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import asdict, dataclass
from typing import Any

from tunnelsite.core.counting import listed
from tunnelsite.scan.firmness.rank_shares import WET_FIRST, DrawPlan, RankShares
from tunnelsite.scan.ranked_run import RankedRun

FIRM, FAIR = 0.8, 0.6  # least share of draws in which the first option stays first (ours); a firm lead has no ties
ALIKE = "these data do not tell them apart"
SHOWS, SHOWS_OUT = 0.1, 0.02  # points on average, and share of the draws, that tell two options apart (ours)
SAFER = 2.0  # points on average by which an option must hold up better to be named beside a lead (ours)
GOOD = ("within 3/4 in per 12 ft as it lies", "soil: well drained")  # how flags that speak for a place begin
APART = 0.9  # an option differs from the first where it stays behind it in this share of the draws (ours)


@dataclass(frozen=True)
class Verdict:
    """How firm the lead is.

    Attributes: first, share of draws in which option 1 stays first; runner_up, rank of the option that is first most often of
    the others, None = there is no other, and runner_up_first, its share; tied, ranks of the options, of `options`, that the
    draws do not tell apart from option 1; why, which option holds up better and by how much, in words, empty where none does; flags, of
    each option, what speaks against it, empty where nothing does; words, `firm`, `fairly firm`, `a close call`, `not settled` or `the
    only option`; drawn, what was drawn, in words; draws and seed.
    """

    first: float
    runner_up: int | None
    runner_up_first: float
    tied: tuple[int, ...]
    options: int
    why: str
    flags: tuple[str, ...]
    words: str
    drawn: str
    draws: int
    seed: int

    @property
    def sentence(self) -> str:
        """The verdict in one or two sentences."""
        if self.runner_up is None:
            return "It is the only option, so nothing competes with it."
        said = f"Option 1 stays first in {share_words(self.first)} of {self.draws} draws of {self.drawn}"
        other = f"option {self.runner_up} comes first in {share_words(self.runner_up_first)}"
        if self.words != "not settled":
            said += f"; {other}. Its lead is {self.words}. {self.why}".rstrip()
        else:
            look = f"Look at both, and level them.{self._flagged([self.runner_up], None)}"
            said += f", and {other}: the lead is not settled. {self.why} {look}"
        return f"{said} {self.ties}".strip()

    @property
    def leads(self) -> bool:
        """Whether option 1 leads the others at all."""
        return self.words not in ("a close call", "not settled")

    @property
    def ties(self) -> str:
        """Which options tie with the first, in a sentence; empty where none does."""
        return self.ties_of([str(rank) for rank in range(1, self.options + 1)])

    def ties_of(self, labels: Sequence[str]) -> str:
        """`ties` with the options' labels, in the order of their ranks."""
        if not self.tied:
            return ""
        if 2 < self.options == len(self.tied) + 1 and not self.leads:
            return (
                f"All the others tie with option {labels[0]}: {ALIKE}, so level and compare the first few in the field."
            )
        tied = [labels[rank - 1] for rank in self.tied]
        noun, verb = ("Option", "ties") if len(tied) == 1 else ("Options", "tie")
        if self.leads:
            look = "look there, too, and level before you choose."
            return f"{noun} {listed(tied)} may still be the better: {look}{self._flagged(self.tied, labels)}"
        return f"{noun} {listed(tied)} {verb} with option {labels[0]}: {ALIKE}, so level and compare them in the field."

    def _flagged(self, ranks: Sequence[int], labels: Sequence[str] | None) -> str:
        """What speaks against some options, in sentences after a space; empty where nothing does."""
        alike: dict[str, list[str]] = {}
        for rank in ranks:
            alike.setdefault(self.flags[rank - 1], []).append(labels[rank - 1] if labels else str(rank))
        return "".join(
            f" Flags of {'option' if len(some) == 1 else 'options'} {listed(some)}: {flags}."
            for flags, some in alike.items()
            if flags
        )


def verdict_of(found: RankShares) -> Verdict:
    """The verdict of a set of draws."""
    first = float(found.first[0])
    others = found.first[1:]
    runner = int(others.argmax()) + 2 if len(others) else None
    second = float(others.max()) if len(others) else 0.0
    tied = tuple(int(k) + 2 for k in (found.behind[1:] < APART).nonzero()[0])
    if runner is None:
        words = "the only option"
    elif second > first:
        words = "not settled"
    else:
        words = "firm" if first >= FIRM and not tied else "fairly firm" if first >= FAIR else "a close call"
    plan, count = found.plan, len(found.first)
    why = "" if runner is None else why_words(found, words, runner, [str(rank) for rank in range(1, count + 1)])
    flags = tuple(_against(text) for text in found.flags)
    return Verdict(first, runner, second, tied, count, why, flags, words, _drawn_words(found), plan.draws, plan.seed)


def why_words(found: RankShares, words: str, runner: int, labels: Sequence[str]) -> str:
    """Which option holds up better than the first where heights are off, in a sentence; empty where none does.

    Arguments: found; words and runner, of the verdict: a lead that is not settled is held against the runner-up, any other against the
    option with the best mean of those round which water was routed; labels of the options.
    """
    mean, out = found.score_mean, found.out
    open_lead = words == "not settled"
    at = runner - 1 if open_lead else int(mean[:WET_FIRST].argmax())
    name, first = labels[at], labels[0]
    if mean[at] - mean[0] < (SHOWS if open_lead else SAFER):
        unlike = f"Option {name} scores no more within the errors of the heights: other weights bring it forward."
        return unlike if open_lead else ""
    rejected = ""
    if out[0] - out[at] >= SHOWS_OUT:
        both = f"{share_words(float(out[at]))} and {share_words(float(out[0]))}"
        rejected = f", and a limit rejects them {both} of the time"
    safer = "" if open_lead else f" Option {name} is the safer choice."
    return (
        f"Within the errors of the heights option {name} scores {mean[at]:.1f} on average and option {first} {mean[0]:.1f}"
        f"{rejected}.{safer}"
    )


def _against(flags: str) -> str:
    return "; ".join(text for text in flags.split("; ") if text and not text.startswith(GOOD))


def verdict_record(verdict: Verdict) -> dict[str, Any]:
    """A verdict as a program reads it, its sentence with it."""
    return asdict(verdict) | {"sentence": verdict.sentence}


def run_plan(result: RankedRun) -> DrawPlan:
    """The draws that every host speaks of: those of the run's own settings."""
    return DrawPlan(draws=result.settings.draws, seed=result.settings.seed)


def share_words(share: float) -> str:
    """A share of draws in per cent, never rounded to none or to all."""
    return "under 1 %" if 0 < share < 0.01 else "over 99 %" if 0.99 < share < 1 else f"{100 * share:.0f} %"


def _drawn_words(found: RankShares) -> str:
    water = ", with water routed again on each drawn ground" if "drainage" in found.redrawn else ""
    return f"the weights and the heights{water}"
