"""The criteria of a run, with their rubrics, limits and parameters."""

from __future__ import annotations

from collections.abc import Callable

from tunnelsite.core import catalogue
from tunnelsite.core.describe import nearest
from tunnelsite.core.errors import UsageError
from tunnelsite.core.site import Site
from tunnelsite.criteria.reach import reach
from tunnelsite.scan.engine import Judge
from tunnelsite.scan.frame_facts import FRAME_FACTS
from tunnelsite.screening.providers import limited, setting_facts, unknown_facts, unmet
from tunnelsite.settings.model import Settings
from tunnelsite.settings.presets import with_presets


def judges_of(site: Site, settings: Settings, kind: str, report: catalogue.Report = lambda text: None) -> list[Judge]:
    """The criteria of a run with their rubrics and parameters. Errors: UsageError for unknown names."""
    found = [*catalogue.criteria(report), *(reach(name) for name, item in site.services.items() if len(item))]
    known = {criterion.id: criterion for criterion in found}
    for given in (settings.weight, settings.rubric, settings.parameter):
        for name in given:
            if name not in known:
                raise UsageError(f"there is no criterion {name!r}", ", ".join(known), nearest(name, known))
    judges = []
    for criterion in found:
        about = criterion.description
        names = {parameter.id for parameter in about.parameters}
        given = settings.parameter.get(criterion.id, {})
        missing = unmet(criterion, site, settings)
        missing += [f"the parameter {name}" for name in unknown_facts(names - given.keys(), site, settings)]
        if missing:
            if "asked" not in missing:
                _left_out(criterion.id, missing, settings, report)
            continue
        rubric = settings.rubric_for(criterion.id, limited(criterion, criterion.rubric(kind), settings))
        checked = about.checked(setting_facts(names, site, settings) | given)
        of_frame = {name for name in checked if name in FRAME_FACTS and name not in given}
        judges.append(Judge(criterion, rubric, {k: v for k, v in checked.items() if k not in of_frame}))
    if not any(judge.rubric.weight > 0 for judge in judges):
        raise UsageError("every weight is 0", "at least one weight above 0", "raise a weight")
    return judges


def _left_out(criterion_id: str, missing: list[str], settings: Settings, report: Callable[[str], None]) -> None:
    """A criterion whose inputs are missing: an error where the project weighs it, words where a preset does."""
    weight = settings.weight.get(criterion_id, 0)
    if not weight > 0:
        return
    text = f"{criterion_id} has a weight, but it needs {', '.join(missing)}"
    if with_presets({"preset": settings.preset}).get("weight", {}).get(criterion_id) != weight:
        raise UsageError(text, "its inputs", "give them")
    report(f"{text}: not assessed (its weight is of the preset {', '.join(settings.preset)})")
