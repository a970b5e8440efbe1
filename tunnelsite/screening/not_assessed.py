"""What a screening could not look at, by name, and how much of the weight that is: the second thing that anyone reads."""

from __future__ import annotations

from collections.abc import Callable, Mapping, Sequence
from dataclasses import dataclass

from tunnelsite.core import catalogue
from tunnelsite.core.counting import listed
from tunnelsite.core.criterion import Criterion
from tunnelsite.core.needs import unmet_words
from tunnelsite.core.site import Site
from tunnelsite.core.wording import inside
from tunnelsite.criteria.reach import reach
from tunnelsite.scan.engine import Judge
from tunnelsite.screening.providers import is_met
from tunnelsite.settings.model import Settings

SERVICES = ("water", "power", "road")  # what a house is usually within reach of; common practice, no source


@dataclass(frozen=True)
class Gap:
    """Something that was not assessed anywhere in a run: `words` for people; `weight` it would have had in the score; `partly`, its
    criterion is in the score all the same, judged by a part of what it should look at."""

    words: str
    weight: float = 0.0
    partly: bool = False


def gaps(site: Site, settings: Settings, judges: Sequence[Judge], report: Callable[[str], None]) -> list[Gap]:
    """Everything that was not given and would have counted, heaviest first.

    Arguments: site; settings; judges of the run; report, is handed words on plug-ins that cannot be used.
    """
    found = []
    used = {judge.id for judge in judges}
    services = [reach(name) for name in SERVICES if not is_met(f"service:{name}", site, settings)]
    for criterion in [*catalogue.criteria(report), *services]:
        if criterion.id in used or {"asked", "bearings"} & set(criterion.needs):
            continue
        rubric = settings.rubric_for(criterion.id, criterion.rubric(settings.kind))
        unmet = [need for need in criterion.needs if not is_met(need, site, settings)]
        if not unmet or not rubric.weight > 0:
            continue
        found.append(Gap(f"{inside(criterion.description.title)} ({unmet_words(unmet[0])})", rubric.weight))
    for judge in judges:
        unseen = [text for need, text in judge.criterion.partly.items() if not is_met(need, site, settings)]
        found += [Gap(text, judge.rubric.weight, True) for text in unseen]
    if site.structures is None or not len(site.structures):
        found.append(Gap("clearance from buildings (no structures were given)"))
    if not any(len(keep_out) for keep_out in site.keep_outs):
        found.append(
            Gap(
                "roads and yards, which look like level ground, floodplain, ponds, wetland, septic field, easements, buried and "
                "overhead lines (no keep-outs were given)"
            )
        )
    else:
        given = ", ".join(keep_out.name for keep_out in site.keep_outs)
        found.append(
            Gap(f"roads, yards, floodplain, ponds, wetland, septic field, easements and lines that are not in {given}")
        )
    return sorted(found, key=lambda gap: -gap.weight)


def unseen_words(criterion: Criterion, gaps: Sequence[Gap]) -> str:
    """What a criterion that is in the score could not look at, in words; empty where it saw everything. Arguments: gaps, of the run."""
    missing = {gap.words for gap in gaps if gap.partly}
    return "; ".join(text for text in criterion.partly.values() if text in missing)


def where_unknown(titles: Mapping[str, Sequence[str]]) -> list[str]:
    """What is known at some options only, each once with those at which it is not. Arguments: by label of an option, titles of the
    criteria that are not known there."""
    found: dict[str, list[str]] = {}
    for label, unknown in titles.items():
        for title in unknown:
            found.setdefault(title, []).append(label)
    return [f"{title} at {_options(at, len(titles))} (the data do not show it there)" for title, at in found.items()]


def _options(labels: Sequence[str], count: int) -> str:
    if len(labels) == 1:
        return f"option {labels[0]}"
    return "every option" if len(labels) == count else f"options {listed(labels)}"
