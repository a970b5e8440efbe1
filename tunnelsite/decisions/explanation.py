"""The explanation of one place: every rule in order, with value, limit and remedy, and how it stands among the others."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import asdict, dataclass
from typing import TYPE_CHECKING, Any

from tunnelsite.core import amounts
from tunnelsite.scan.firmness.verdict import Verdict, told_verdict

if TYPE_CHECKING:
    import pandas


@dataclass(frozen=True)
class RuleCheck:
    """One rule at one place.

    Attributes: rule; title; unit; value (None = not assessed); limit (None = never rejects); passed (None = not
    assessed); marks 0..1; weight; points, what it adds to the score; could_gain, points more with full marks; change,
    what would have to change for it to pass ("" where it passes).
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
            "first_share": "is first of the candidates in {:.0%} of the draws of weights and heights",
            "top_3_share": "is among the best three in {:.0%} of them",
            "chance_pitch_within_1_192": "chance that the ground is within 1/192 both ways: {:.0%}, by the pitch's standard error",
        }
        return [*(words[name].format(value) for name, value in self.shares.items()), self.verdict.sentence]


@dataclass(frozen=True, repr=False)
class Explanation:
    """Every rule at one placement. `score` is the steady score that ranks, None where a rule rejects the place; `score_here` is what
    it scores at this very place, or would if no limit rejected it; `moved_m` is the distance from the asked point to the
    centre of the placement; `above`, `scored`: placements of all scans scoring higher, and all; `not_listed`: why it is no
    candidate though no rule rejects it.

    `notes`: how the place was measured, where that is not as in a screening. `doubts`: what makes the heights doubtful. `left_out`:
    criteria that could not be used, so that marks and ranks are of a ranking without them. `standing`: of a candidate.
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
        from html import escape

        said = "".join(f"<li>{escape(text)}</li>" for text in (*self.doubts, *self.left_out, *self.notes))
        return (
            f"<p>{escape(self._headline())}</p>{self.table.to_html(index=False, na_rep='not assessed')}<ul>{said}</ul>"
        )

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
        for r in self.rules:
            value = "not assessed" if r.value is None else amounts.in_unit(r.value, r.unit, feet=feet, figures=",.4g")
            limit = (
                "no limit"
                if r.limit is None
                else f"limit {amounts.in_unit(r.limit, r.unit, feet=feet, figures=',.4g')}"
            )
            state = "unknown" if r.value is None else "REJECTS" if r.passed is False else "ok"
            part = f"; {r.points:.1f} points, {r.could_gain:.1f} more possible" if r.points is not None else ""
            lines.append(f"  {state:8} {r.title}: {value} ({limit}){part}" + (f" -> {r.change}" if r.change else ""))
        return "\n".join([*lines, *(f"  note: {text}" for text in self.notes)])

    def _headline(self) -> str:
        verdict = "passes every rule" if not self.broken else "is rejected by " + ", ".join(r.rule for r in self.broken)
        if self.rank:
            verdict = f"is candidate {self.rank}"
        elif self.not_listed:
            verdict += f", but {self.not_listed}"
        place = "" if self.moved_m < 0.05 else f" ({self.moved_m:.1f} m from the place asked for)"
        return f"{self.house}, ridge {self.bearing_deg:g} deg, in {self.parcel or 'no parcel'}{place}: {verdict}"


def in_figures(value: float) -> str:
    """Three figures, and never a power of ten."""
    return (
        f"{value:,.0f}"
        if abs(value) >= 1000
        else f"{value:.3g}"
        if abs(value) >= 1e-3 or value == 0
        else f"{value:.4f}"
    )


def summary_of(found: Sequence[Explanation]) -> dict[str, Any]:
    """Explanations of one run, ready for JSON; shares and verdict where it is one candidate."""
    aside = ("doubts", "left_out", "standing")
    places = [{name: value for name, value in asdict(one).items() if name not in aside} for one in found]
    told: dict[str, Any] = {"doubts": list(found[0].doubts), "left_out": list(found[0].left_out), "places": places}
    standing = found[0].standing
    return told if standing is None else told | standing.shares | {"verdict": told_verdict(standing.verdict)}
