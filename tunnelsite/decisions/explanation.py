"""The explanation of one place: every rule in order, with value, limit and remedy, and how it stands among the others."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import asdict, dataclass
from typing import TYPE_CHECKING, Any

from tunnelsite.core import amounts
from tunnelsite.core.notebook import notebook_frames
from tunnelsite.core.ridge_words import ridge_words
from tunnelsite.core.wording import inside
from tunnelsite.scan.firmness.verdict import Verdict, share_words, verdict_record
from tunnelsite.screening.rejection_words import rule_words

if TYPE_CHECKING:
    import pandas


@dataclass(frozen=True)
class RuleCheck:
    """One rule at one place.

    Attributes: rule; title; unit; value (None = not assessed); limit (None = never rejects); passed (None = not
    assessed); marks 0..1; weight; points, what it adds to the score; could_gain, points more with full marks; change,
    what would have to change for it to pass ("" where it passes); words, what the value means; limit_words, the limit where its number
    says little.
    """

    rule: str
    title: str
    unit: str
    value: float | None
    limit: float | None
    passed: bool | None
    marks: float | None = None
    weight: float = 0.0
    points: float | None = None
    could_gain: float | None = None
    change: str = ""
    words: str = ""
    limit_words: str = ""

    def line(self, *, feet: bool) -> str:
        """The rule at the place as one line of text. Arguments: feet, whether feet come first."""
        state = "unknown" if self.value is None else "REJECTS" if self.passed is False else "ok"
        value = inside(self.words) or (
            "not assessed" if self.value is None else amounts.measured(self.value, self.unit, feet=feet)
        )
        parts = [f"  {state:8} {self.title}: {value}"]
        limit = self.limit_words or (
            amounts.measured(self.limit, self.unit, feet=feet) if self.limit and self.unit not in ("", "1") else ""
        )
        if limit:  # 0 = may not be touched
            parts.append(f" (limit {limit})")
        if self.points is not None and self.weight > 0:
            parts.append(f"; {self.points:.1f} points")
            if self.could_gain is not None and self.could_gain >= 0.05:
                parts.append(f", {self.could_gain:.1f} more possible")
        return "".join(parts) + (f" -> {self.change}" if self.change else "")


@dataclass(frozen=True)
class Standing:
    """How firmly a candidate stands among the others when weights and heights are drawn.

    Attributes: first_share, top_3_share: of the draws in which it is first, and among the best three.
    chance_pitch_within_1_192: that the ground is within 1/192 both ways, by the pitch's standard error; None = not known.
    verdict: how firm the lead of the first candidate is.
    """

    first_share: float
    top_3_share: float
    chance_pitch_within_1_192: float | None
    verdict: Verdict

    @property
    def shares(self) -> dict[str, float]:
        """The shares that are known, by name."""
        told = {"first_share": self.first_share, "top_3_share": self.top_3_share}
        chance = self.chance_pitch_within_1_192
        return told if chance is None else told | {"chance_pitch_within_1_192": chance}

    def words(self) -> list[str]:
        """The same as plain lines."""
        words = {
            "first_share": "is first in {} of the trials with other weights and heights",
            "top_3_share": "is among the best three in {} of them",
            "chance_pitch_within_1_192": "chance that it slopes at most 3/4 in per 12 ft both ways: {}, by the error of the pitch",
        }
        return [*(words[name].format(share_words(value)) for name, value in self.shares.items()), self.verdict.sentence]


@dataclass(frozen=True, repr=False)
class Explanation:
    """Every rule at one placement. `score` is the steady score that ranks, None where a rule rejects the place; `score_here` is what
    it scores at this very place, or would if no limit rejected it; `moved_m` is the distance from the asked point to the
    centre of the placement; `above`, `scored`: placements of all scans scoring higher, and all; `not_listed`: why it is no
    candidate though no rule rejects it.

    `notes`: how the place was measured, where that is not as in a screening. `doubts`: what makes the heights doubtful. `left_out`:
    criteria that could not be used, so that marks and ranks are of a ranking without them. `standing`: of a candidate. `flags`: what a
    reader should not miss where no rule rejects the place.
    """

    house: str
    bearing_deg: float
    parcel: str | None
    moved_m: float
    rules: tuple[RuleCheck, ...]
    score: float | None
    score_here: float | None
    rank: int | None
    above: int
    scored: int
    not_listed: str = ""
    notes: tuple[str, ...] = ()
    doubts: tuple[str, ...] = ()
    left_out: tuple[str, ...] = ()
    standing: Standing | None = None
    flags: str = ""

    @property
    def summary(self) -> dict[str, Any]:
        """Everything, ready for JSON."""
        return summary_of([self])

    @property
    def table(self) -> pandas.DataFrame:
        """A row per rule; what was not assessed is missing."""
        import pandas

        return pandas.DataFrame([asdict(rule) for rule in self.rules])

    def __repr__(self) -> str:
        return f"<Explanation {self._headline()}>"

    def _repr_html_(self) -> str:
        return notebook_frames(self._headline(), {"": self.table}, (*self.doubts, *self.left_out, *self.notes))

    @property
    def broken(self) -> list[RuleCheck]:
        """Rules that reject the place."""
        return [rule for rule in self.rules if rule.passed is False]

    def words(self) -> str:
        """The explanation as plain lines."""
        lines = [self._headline()]
        if self.score is not None:
            lines.append(
                f"score {self.score:.1f} over small shifts, {self.score_here:.1f} at this very place; "
                f"{self.above:,} of {self.scored:,} placements score higher"
            )
        elif self.score_here is not None:
            unless = "without the rules that reject it, " if self.broken else ""
            lines.append(f"{unless}it would score {self.score_here:.1f} at this very place")
        feet = self.house.strip().endswith("ft")
        lines += [rule.line(feet=feet) for rule in self.rules]
        lines += [f"flags: {self.flags}"] if self.flags else []
        return "\n".join([*lines, *(f"  note: {text}" for text in self.notes)])

    def _headline(self) -> str:
        against = [inside(rule_words(rule.rule, {rule.rule: rule.title})) for rule in self.broken]
        verdict = f"is not offered ({'; '.join(against)})" if against else "passes every rule"
        if self.rank:
            verdict = f"is candidate {self.rank}"
        elif self.not_listed:
            verdict += f", but {self.not_listed}"
        feet = self.house.strip().endswith("ft")
        moved = "" if self.moved_m < 0.05 else f" ({amounts.away(self.moved_m, feet=feet)} from the place asked for)"
        return f"{self.house}, ridge {ridge_words(self.bearing_deg)}, in {self.parcel or 'no parcel'}{moved}: {verdict}"


def summary_of(found: Sequence[Explanation]) -> dict[str, Any]:
    """Explanations of one run, ready for JSON; shares and verdict where it is one candidate."""
    aside = ("doubts", "left_out", "standing")
    places = [{name: value for name, value in asdict(one).items() if name not in aside} for one in found]
    told: dict[str, Any] = {"doubts": list(found[0].doubts), "left_out": list(found[0].left_out), "places": places}
    standing = found[0].standing
    return told if standing is None else told | standing.shares | {"verdict": verdict_record(standing.verdict)}
