"""What a screening could not look at, by name, and how much of the weight that is: the second thing that anyone reads."""

from __future__ import annotations

from collections.abc import Callable, Sequence
from dataclasses import dataclass

from tunnelsite.core import catalogue
from tunnelsite.core.site import Site
from tunnelsite.criteria.reach import reach
from tunnelsite.scan.engine import Judge
from tunnelsite.screening.needs import given_for
from tunnelsite.settings.model import Settings

SERVICES = ("water", "power", "road")  # what a house is usually within reach of; common practice, no source
# What an unmet need means to the reader. `asked`, `bearings` and `obstacles` or `structures` of plug-ins are no gaps of a usual run.
WORDS = {
    "soils": "no soil map was given",
    "soil_groups": "no soil map with hydrologic groups was given",
    "wind": "no wind direction or weather file was given",
    "standing": "no surface model, trees or buildings were given",
    "lamps": "no lamps were given",
}


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
    services = [reach(name) for name in SERVICES if not given_for(f"service:{name}", site, settings)]
    for criterion in [*catalogue.criteria(report), *services]:
        if criterion.id in used or {"asked", "bearings"} & set(criterion.needs):
            continue
        rubric = settings.rubric_for(criterion.id, criterion.rubric(settings.kind))
        unmet = [need for need in criterion.needs if not given_for(need, site, settings)]
        if not unmet or not rubric.weight > 0:
            continue
        service = unmet[0].partition(":")[2]
        why = f"no {service} was given" if service else WORDS.get(unmet[0], f"no {unmet[0]} were given")
        found.append(Gap(f"{criterion.description.title.lower()} ({why})", rubric.weight))
    sun = next((judge for judge in judges if judge.id == "sun"), None)
    if sun is not None and not given_for("standing", site, settings):
        found.append(Gap("shade of trees and buildings (only the bare ground was given)", sun.rubric.weight, True))
    if site.structures is None or not len(site.structures):
        found.append(Gap("clearance from buildings (no structures were given)"))
    if not any(len(keep_out) for keep_out in site.keep_outs):
        found.append(
            Gap(
                "floodplain, ponds, wetland, septic field, easements, buried and overhead lines (no keep-outs were given)"
            )
        )
    else:
        given = ", ".join(keep_out.name for keep_out in site.keep_outs)
        found.append(Gap(f"floodplain, ponds, wetland, septic field, easements and lines that are not in {given}"))
    return sorted(found, key=lambda gap: -gap.weight)
