"""The first screen of a report page: the best option and how firm its lead is, then what was not assessed, then what would help."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass
from typing import TYPE_CHECKING
from xml.etree.ElementTree import Element

from tunnelsite.core import amounts
from tunnelsite.core.counting import counted, listed
from tunnelsite.core.wording import capital, inside, place_words
from tunnelsite.drawing.markup import named, put, tag
from tunnelsite.report.card_facts import Facts
from tunnelsite.report.chosen import PageOption
from tunnelsite.report.page_verdict import verdict_words
from tunnelsite.report.plain_words import file_words
from tunnelsite.scan.engine import Judge
from tunnelsite.screening.costly_limits import costly_limits
from tunnelsite.screening.may_be import bed_left_out_words, far_behind_words, may_be_words
from tunnelsite.screening.not_assessed import where_unknown
from tunnelsite.screening.relaxing_tables import break_words

if TYPE_CHECKING:
    from tunnelsite.screening.result import Result

SCARCE = 0.01  # of the placements tried: where fewer pass, the best of them is no find (ours)
LONG = 2000  # letters of a sentence with names from data in it
CARE = (
    "This is a screening from elevation data, not a survey. Confirm heights with a level, have buried utilities marked before any "
    "digging, and ask the authorities listed below. Local codes rule."
)


@dataclass(frozen=True)
class Beside:
    """What a page holds beside its answer: options, all of the result's, none = by rank; carded, ranks with a card; table, of the
    options side by side; chosen, whether they were chosen by hand; unbuildable, labels of
    those whose earthwork runs over the parcel's edge or into what was to be kept clear of."""

    options: Sequence[PageOption] = ()
    carded: frozenset[int] = frozenset()
    table: Element | None = None
    chosen: bool = False
    unbuildable: Sequence[str] = ()


def answer(result: Result, facts: Sequence[Facts], beside: Beside | None = None) -> Element:
    """The answer first: the best place, what differs between the options, how firm that is, and how much passed at all.

    Arguments: result; facts, of the options that are shown; beside, what the page holds beside the answer.
    """
    tried = sum(int(scan.ground.inside.sum()) for scan in result.scans)
    passed = sum(len(scan.index) for scan in result.scans)
    section = tag("section", tag("h2", "In short", id="short-title"), class_="short", aria_labelledby="short-title")
    put(section, *(tag("p", tag("strong", f"Doubtful heights: {text}.")) for text in result.doubts))
    scarce = passed < SCARCE * tried
    if facts:
        put(section, *_best(facts, result, beside or Beside(), scarce=scarce))
    else:
        put(section, tag("p", "No place passes every rule, or none could be scored.", class_="lead"))
        put(section, *(tag("p", note) for note in result.notes))
    said = f"{tried:,} positions were tried, everywhere on the land; {passed:,} ({share_words(passed, tried)}) passed every rule."
    if scarce or not facts:
        put(section, tag("p", tag("strong", f"Nearly nothing passes. {said}"), _costliest_words(result), class_="care"))
    else:
        put(section, tag("p", said, class_="soft"))
    wet = bed_left_out_words(result.tables["rejections"].rows, "the setting “Water-like ground allowed”")
    put(section, *(tag("p", words, class_="care") for words in wet))
    put(section, tag("p", tag("strong", "Before anyone digs. "), CARE, class_="care"))
    return section


def _best(facts: Sequence[Facts], result: Result, beside: Beside, *, scarce: bool) -> list[Element]:
    best = max(facts, key=lambda fact: (fact.row["score"], -fact.rank))
    row = best.row
    lead = tag("p", class_="lead")
    start = "The least bad of the few places that pass is " if scarce else "The best place found is "
    if beside.chosen:
        start = f"The best of the {len(facts)} options shown is " if len(facts) > 1 else "This is "
    target = f"{'candidate' if best.rank in beside.carded else 'row'}-{best.rank}"
    leads = result.verdict is not None and result.verdict.leads
    even = not (scarce or beside.chosen or leads)
    name = f"{'Option' if even else 'option'} {best.label}"
    put(
        lead,
        "No place stands out. " if even else start,
        tag("a", name, href=f"#{target}"),
        " in ",
        named(row["parcel"]),
    )
    put(
        lead,
        " scores highest" if even else "",
        f", with {row['score']:.1f} of 100 points; {row['assessed_pct']:.0f} % of the weight was assessed.",
    )
    good = [item.words for item in best.good()[:2]]
    against = [item.words for item in best.against()[:1]]
    said = [lead, tag("p", class_="lead", id="lead-now", hidden=True, role="status")]
    if good and beside.table is None:
        costs = " Against it: " + against[0] + "." if against else ""
        said.append(tag("p", "For it: " + ". ".join(good) + "." + costs))
    doubt = "Among so few, a lead says little. " if scarce else ""
    said.append(tag("p", doubt, " ".join(verdict_words(result, beside.options)), id="verdict"))
    shown = [fact for fact in facts if fact.rank in beside.carded] if beside.table is not None else facts
    doubtful = may_be_words([{"rank": fact.label, "flags": fact.row["flags"]} for fact in shown])
    said += [tag("p", tag("strong", text), class_="care") for text in doubtful]
    said += [
        tag("p", text)
        for text in far_behind_words([{"rank": fact.label, "score": fact.row["score"]} for fact in shown])
    ]
    if beside.table is not None:
        said.append(beside.table)
    if beside.unbuildable:
        said.append(_unbuildable(beside.unbuildable))
    shift = result.settings.shift_m
    if shift > 0:
        away = amounts.away(shift, feet=best.feet)
        said.append(tag("p", f"Points are averages over every position of the house within {away} of the place shown. They count how "
                             "errors of the heights change slope and earth, not how they turn the water or break a limit.",
                        class_="soft"))  # fmt: skip
    return said


def _unbuildable(labels: Sequence[str]) -> Element:
    which = f"{'Option' if len(labels) == 1 else 'Options'} {listed(list(labels))}"
    words = f"{which}: earth would be moved beyond the parcel's edge or into what is to be kept clear of. The card says what to change."
    return tag("p", tag("strong", "Not buildable as drawn. "), words, class_="care")


def share_words(part: int, whole: int) -> str:
    """A share in per cent that is never rounded to none or to all: `0.2 %`, `under 0.1 %`."""
    percent = 100 * part / whole if whole else 0.0
    if 0 < percent < 0.1 or 99.9 < percent < 100:
        return "under 0.1 %" if percent < 1 else "over 99.9 %"
    return f"{percent:.0f} %" if percent == round(percent) or 10 <= percent <= 90 else f"{percent:.1f} %"


def _limit(judge: Judge) -> float:
    if judge.rubric.limit is None:
        raise ValueError(f"{judge.id} has no limit, so it rejects nothing")
    return judge.rubric.limit


def _costliest_words(result: Result) -> str:
    found = costly_limits(result.tables["rejections"].rows)
    if not found:
        return " Where a house may lie at all decides: edges, setbacks and what to keep clear of."
    most, feet = found[0], result.scans[0].house.feet
    words = f" The limit that costs most is that on {inside(most.title)} ({amounts.in_unit(most.limit, most.unit, feet=feet)}): "
    words += f"it rejects {most.rejected:,} of {most.tried:,} positions that reach it."
    steps = [] if result.relaxation is None else result.relaxation.steps
    more = next((step for step in steps if step.judge.id == most.rule), None)
    if more is not None:
        words += f" At {amounts.in_unit(more.value, most.unit, feet=feet)} {more.placements:,} more would pass."
    return words


def unknown_section(result: Result, facts: Sequence[Facts]) -> Element:
    """What was not assessed, by name: the second thing that anyone reads."""
    section = tag(
        "section",
        tag("h2", "What was not assessed", id="unknown-title"),
        aria_labelledby="unknown-title",
    )
    if facts:
        shares = [fact.row["assessed_pct"] for fact in facts]
        low, high = f"{min(shares):.0f} %", f"{max(shares):.0f} %"
        share = low if low == high else f"{low} to {high}"
        half = "What the data do not show at an option counts half there; the rest of this list is in no score:"
        put(section, tag("p", f"Points rest on {share} of the weight. {half}"))
    gaps = [tag("li", named(capital(file_words(gap.words)), LONG)) for gap in result.gaps]
    here = where_unknown({fact.label: [item.title for item in fact.unknown()] for fact in facts})
    lines = [*(tag("li", named(text, LONG)) for text in here), *gaps]
    put(section, tag("ul", *lines) if lines else tag("p", "Everything that counts was assessed."))
    return section


def relaxed_section(result: Result) -> Element | None:
    """Where few options pass: what relaxing each limit would bring, and the least bad places that break one."""
    found = result.relaxation
    if found is None or not (found.steps or found.compromises.choices):
        return None
    section = tag("section", tag("h2", "What stands in the way", id="relax-title"), aria_labelledby="relax-title")
    lines, feet = [], result.scans[0].house.feet
    for step in found.steps:
        about = step.judge.criterion.description
        said = amounts.relaxed(step.value, _limit(step.judge), about.unit, feet=feet)
        more = counted(step.placements, "more position"), counted(step.options, "more option")
        lines.append(f"{about.title} {said}: {', '.join(more)}")
    if lines:
        put(
            section,
            tag("p", "One limit relaxed, the others as they are:"),
            tag("ul", *(tag("li", text) for text in lines)),
        )
    places = [
        tag("li", named(row["parcel"]), f", {place_words(row['lon'], row['lat'])}: {break_words(broken, feet=feet)}")
        for row, broken in zip(found.compromises.rows, found.breaks, strict=True)
    ]
    if places:
        words = "The least bad places that break a limit. None is recommended as it is: whether a limit may give is yours to judge."
        put(section, tag("p", words), tag("ul", *places))
    return section
