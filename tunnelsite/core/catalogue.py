"""What there is: built-in criteria, processes and plans and those that other packages offer through entry points."""

from __future__ import annotations

import sys
from collections.abc import Callable
from functools import lru_cache
from importlib import import_module, metadata
from typing import Any

from tunnelsite.core.criterion import Criterion
from tunnelsite.core.errors import UsageError
from tunnelsite.core.plan_kind import PlanKind, guarded_plan, plan_faults
from tunnelsite.core.plug_ins import PlugInFailed, faults, guarded
from tunnelsite.core.process import Process

# In the order in which they are tried: cheap rejections first, so that the costly measures see few placements.
BUILT_IN_CRITERIA = (
    ("water", "OPEN_WATER"),
    ("raised", "RAISED"),
    ("sun", "NOTHING_STANDING"),
    ("ground", "PITCH"),
    ("ground", "ROUGHNESS"),
    ("ground", "CROWN"),
    ("water", "DRAINAGE"),
    ("water", "PONDING_DEPTH"),
    ("water", "WET_GROUND"),
    ("drainage_lines", "RIVER_BED"),
    ("drainage_lines", "DRAINAGE_HEIGHT"),
    ("drainage_lines", "DRAINAGE_DISTANCE"),
    ("drainage_lines", "FLOW_BESIDE"),
    ("sun", "SUN"),
    ("sun", "SEASON_SUN"),
    ("noon", "NOON"),
    ("soils", "SOILS"),
    ("soils", "SOIL_GROUP"),
    ("wind", "WIND"),
    ("hilltop", "HILLTOP"),
    ("frost", "COLD_AIR"),
    ("frost", "LOW_GROUND"),
    ("night_light", "NIGHT_LIGHT"),
    ("room", "SNOW_ROOM"),
    ("windbreak", "WINDBREAK"),
    ("bearing", "BEARING"),
    ("earthwork", "DEEPEST_CUT"),
    ("earthwork", "EARTHWORK"),
)
BUILT_IN_PROCESSES = (
    "slope",
    "aspect",
    "hillshade",
    "hillshade_shadowed",
    "cast_shadow",
    "contributing_area",
    "filled_ground",
    "level_patches",
    "raised_ground",
    "season_light",
    "noon_sun",
    "wind_shelter",
    "cold_air_pools",
    "standing_distance",
    "standing_heights",
    "drainage_lines",
    "hilltops",
    "low_ground",
    "wetness",
)
BUILT_IN_PLANS = (  # (module below `plans`, name)
    ("sunchart.plan", "SUN_CHART"),
    ("grading.grade", "GRADE"),
    ("stakeout.plan", "STAKE_OUT"),
    ("layout.plan", "LAYOUT"),
    ("cost.plan", "COST"),
)
CRITERIA_GROUP, PROCESSES_GROUP, PLANS_GROUP = "tunnelsite.criteria", "tunnelsite.processes", "tunnelsite.plans"

SCREENING = "screening"  # the server's name for the whole of it

Report = Callable[[str], None]


def entry_points(group: str) -> metadata.EntryPoints:
    """What the installed packages offer in a group; they are searched once for each search path, and for all groups at a time."""
    found: metadata.EntryPoints = _offers(tuple(sys.path)).select(group=group)
    return found


@lru_cache(maxsize=4)
def _offers(_path: tuple[str, ...]) -> Any:
    """Everything on offer; its class has another name from Python 3.12 on."""
    return metadata.entry_points()


def criteria(report: Report = lambda text: None) -> list[Criterion]:
    """Built-in criteria, then those of other packages; a broken plug-in is reported and skipped."""
    built_in = [getattr(import_module(f"tunnelsite.criteria.{module}"), name) for module, name in BUILT_IN_CRITERIA]
    return built_in + _offered(CRITERIA_GROUP, Criterion, {item.id for item in built_in}, report)


def processes(report: Report = lambda text: None) -> list[Process]:
    """Built-in processes, then those of other packages; a broken plug-in is reported and skipped."""
    built_in = [import_module(f"tunnelsite.processes.{name}").PROCESS for name in BUILT_IN_PROCESSES]
    return built_in + _offered(PROCESSES_GROUP, Process, {item.id for item in built_in}, report)


def process(name: str) -> Process:
    """One process by its id; only that one is imported where it is built in. Errors: UsageError with the nearest name."""
    if name in BUILT_IN_PROCESSES:
        found: Process = import_module(f"tunnelsite.processes.{name}").PROCESS
        return found
    known = {item.id: item for item in processes()}
    if name not in known:
        from tunnelsite.core.describe import nearest

        raise UsageError(f"there is no process {name!r}", ", ".join(known), nearest(name, known))
    return known[name]


def plans(report: Report = lambda text: None) -> list[PlanKind]:
    """Built-in kinds of plans, then those of other packages; a broken plug-in is reported and skipped."""
    built_in = [getattr(import_module(f"tunnelsite.plans.{module}"), name) for module, name in BUILT_IN_PLANS]
    return built_in + _offered(
        PLANS_GROUP, PlanKind, {item.id for item in built_in} | {*BUILT_IN_PROCESSES, SCREENING}, report
    )


def plan(name: str) -> PlanKind:
    """One kind of plan by its id. Errors: UsageError with the nearest name."""
    known = {item.id: item for item in plans()}
    if name not in known:
        from tunnelsite.core.describe import nearest

        raise UsageError(f"there is no plan {name!r}", ", ".join(known), nearest(name, known))
    return known[name]


def _offered(group: str, kind: type, taken: set[str], report: Report) -> list[Any]:
    found: list[Any] = []
    for entry in sorted(entry_points(group=group), key=lambda entry: entry.name):
        try:
            loaded = entry.load()
            if not isinstance(loaded, kind):
                raise TypeError(
                    f"it is of the type {type(loaded).__name__}, not a {kind.__name__}: let the entry point name one"
                )
            item: Any = loaded
            wrong = plan_faults(item) if kind is PlanKind else faults(item)
            if wrong:
                raise ValueError("; ".join(wrong))
            if item.id in taken:
                raise ValueError(f"the id {item.id!r} is taken")
        except (Exception, SystemExit) as problem:  # whatever a plug-in does wrong must not stop the others
            report(f"plug-in {entry.name!r} ({entry.value}) was skipped: {problem}")
            continue
        taken.add(item.id)
        found.append(guarded_plan(item, PlugInFailed) if kind is PlanKind else guarded(item))
    return found


def plug_in_versions() -> list[list[str]]:
    """[name, where it is, its package and version] of every criterion, process and plan that other packages offer; none is imported."""
    found = [entry for group in (CRITERIA_GROUP, PROCESSES_GROUP, PLANS_GROUP) for entry in entry_points(group=group)]
    of = [(entry.group, entry.name, entry.value, entry.dist) for entry in found]
    return sorted([group, name, value, f"{d.name} {d.version}" if d else ""] for group, name, value, d in of)
