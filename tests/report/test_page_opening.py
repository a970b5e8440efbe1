"""The first screen of the page: one verdict, what was not assessed second, and no find where nearly nothing passes."""

from __future__ import annotations

from dataclasses import replace
from xml.etree.ElementTree import tostring

import numpy as np
import pytest

from tests.scan.grounds import hills, site
from tunnelsite import Settings, screen
from tunnelsite.core.house import House
from tunnelsite.report.card_facts import all_facts
from tunnelsite.report.page_compare import compared
from tunnelsite.report.page_opening import Beside, answer, relaxed_section, unknown_section
from tunnelsite.report.plain_words import file_words
from tunnelsite.scan.firmness.verdict import share_words
from tunnelsite.screening.costly_limits import costly_limits


def words(element) -> str:
    return " ".join("".join(element.itertext()).split())


@pytest.fixture(scope="module")
def scarce():
    """Rough ground, and a limit on the deepest cut that leaves three placements in a thousand."""
    farm = site(hills(80, 90, 3, rise=1.4) + np.random.default_rng(2).normal(0, 0.02, (80, 90)))
    settings = Settings(halo_m=20, top=6, azimuths=8)
    free = screen(farm, House(6, 12), settings=settings.model_copy(update={"rubric": {"deepest_cut": {"limit": 9.0}}}))
    limit = round(float(np.quantile(free.scans[0].measures["deepest_cut"], 0.003)), 5)
    rubric = {"deepest_cut": {"limit": limit, "full_at": 0.0, "none_at": limit}}
    return screen(farm, House(6, 12), settings=settings.model_copy(update={"rubric": rubric}))


def test_the_pages_verdict_is_the_results(hostile) -> None:
    said = words(answer(hostile.result, all_facts(hostile.result)))
    verdict, shares = hostile.result.verdict, hostile.result.rank_shares
    assert f"option 1 came first in {share_words(verdict.first)} of these trials" in said
    alone = (float(shares.first_by_weights[0]), float(shares.first_by_errors[0]))
    assert f"weights alone option 1 came first in {share_words(alone[0])}" in said, "both kinds of doubt"
    assert f"alone in {share_words(alone[1])}." in said and "draws" not in said and "placements" not in said
    first = ("The best place found is option 1", "No place stands out. Option 1 in")
    assert first[not verdict.leads] in said
    assert f"{hostile.result.rows[0]['assessed_pct']:.0f} % of the weight was assessed" in said
    assert "Points are averages" in said


def test_what_was_not_assessed_stands_second_and_by_name(hostile) -> None:
    for page in (hostile.full, hostile.client):
        places = [
            page.index(text)
            for text in ("In short", "What differs between the options", "What was not assessed", ">Map<")
        ]
        assert places == sorted(places)
    said = words(unknown_section(hostile.result, all_facts(hostile.result)))
    assert hostile.result.gaps and all(file_words(gap.words[1:]) in said for gap in hostile.result.gaps)


def test_where_nearly_nothing_passes_nothing_is_found(scarce) -> None:
    tried = sum(int(scan.ground.inside.sum()) for scan in scarce.scans)
    assert sum(len(scan.index) for scan in scarce.scans) < 0.01 * tried
    facts = all_facts(scarce)
    assert facts
    said = words(answer(scarce, facts))
    assert "best place found" not in said and "Nearly nothing passes." in said
    most = costly_limits(scarce.tables["rejections"].rows)[0]
    assert most.rule == "deepest_cut" and f"The limit that costs most is that on deepest cut ({most.limit:g} m)" in said
    assert f"it rejects {most.rejected:,} of {most.tried:,} positions" in said
    section = words(relaxed_section(scarce))
    assert "Deepest cut up to" in section and "break a limit" in section
    nothing = replace(scarce, choices=[], scans=scarce.scans)
    assert words(answer(nothing, [])).startswith("In shortNo place passes every rule")


def test_names_from_data_stay_text(scarce) -> None:
    named = [f"<b>{name}" for name in scarce.frame.parcel_names]
    for scan in scarce.scans:
        scan.frame.parcel_names[:] = named
    shown = tostring(relaxed_section(replace(scarce)), "unicode")
    assert "<b>" not in shown


def test_the_first_screen_tells_what_heights_that_are_off_make_of_an_option(hostile) -> None:
    """A score of 93 that falls to 48 on average, and a limit that rejects it every other time, belong beside the score."""
    facts = all_facts(hostile.result)[:2]
    firm = [replace(one.firmness, mean=one.row["score"] - 0.5, out=0.0) for one in facts]
    sure = [replace(one, firmness=own) for one, own in zip(facts, firm, strict=True)]
    beside = words(compared(hostile.result, sure, set()))
    assert "heights off" not in beside and "A limit rejects it" not in beside
    unsure = [replace(sure[0], firmness=replace(firm[0], mean=47.61, out=0.46)), sure[1]]
    beside = words(compared(hostile.result, unsure, set()))
    assert f"Score on average, heights off by their error47.6{firm[1].mean:.1f}" in beside
    assert "A limit rejects it where heights are off46 %0 %" in beside


def test_an_option_has_nothing_against_it_only_in_what_was_assessed(hostile) -> None:
    """Where the cells of the model are too wide, the slope of no option is known: "nothing that counts" would read as a clean bill."""
    facts = all_facts(hostile.result)[:2]
    full = [replace(one, judged=tuple(replace(item, marks=1.0) for item in one.judged)) for one in facts]
    assert "Nothing that counts" in words(compared(hostile.result, full, set()))
    gap = replace(full[0], judged=(replace(full[0].judged[0], marks=None, weight=1.0), *full[0].judged[1:]))
    assert "Nothing in what was assessed" in words(compared(hostile.result, [gap, full[1]], set()))


def test_the_first_screen_names_options_that_cannot_be_built_as_drawn(hostile) -> None:
    facts = all_facts(hostile.result)
    assert "Not buildable" not in words(answer(hostile.result, facts))
    said = words(answer(hostile.result, facts, Beside(unbuildable=["1", "3"])))
    assert "Not buildable as drawn. Options 1 and 3: earth would be moved beyond the parcel's edge" in said


def test_an_option_that_may_stand_in_a_river_is_named_before_the_table(hostile) -> None:
    """In the short version only where its card is on the page: an option that is not shown is not named."""
    facts = all_facts(hostile.result)
    bed = "may be a river's bed, open water or flood plain: a bank 5 m high stands over it"
    wet = [replace(fact, row={**fact.row, "flags": bed}) if fact.rank == 2 else fact for fact in facts]
    said = "Option 2 may be a river's bed, open water or flood plain: look there before anything else."
    assert said in words(answer(hostile.result, wet)) and said not in words(answer(hostile.result, facts))
    for carded, named in (({1, 2}, True), ({1}, False)):
        beside = Beside(carded=frozenset(carded), table=compared(hostile.result, facts[:2], {1, 2}))
        text = words(answer(hostile.result, wet, beside))
        assert (said in text) == named
        assert not named or text.index(said) < text.index("What differs between the options")
