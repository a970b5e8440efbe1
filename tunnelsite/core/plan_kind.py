"""The plug-in protocol for plans: a site, a placement and settings in, a plan out; no host in it."""

from __future__ import annotations

import dataclasses
import inspect
import json
import re
from collections.abc import Callable, Mapping
from dataclasses import dataclass, replace
from functools import partial
from typing import Any

from tunnelsite.core.errors import TunnelsiteError
from tunnelsite.core.placement import Placement
from tunnelsite.core.process import Progress, silent
from tunnelsite.core.site import Site

LAYER, TABLE, PICTURE = CONTENTS = ("layer", "table", "picture")
ID = re.compile(r"[a-z][a-z0-9]*(_[a-z0-9]+)*")
SUMMARY = "summary"
ATTRIBUTES = ("kind", "title", "summary", "layers", "tables", "pictures", "notes", "cautions")


@dataclass(frozen=True)
class Content:
    """One thing that a plan gives beside its summary.

    Attributes: id, its name in the plan; kind, `layer` (features), `table` or `picture` (SVG); title, a few words;
    optional, whether it may be missing.
    """

    id: str
    kind: str
    title: str
    optional: bool = False


@dataclass(frozen=True)
class PlanKind:
    """A kind of plan as the catalogue lists it and every host offers it.

    Attributes:
        id: lower-case words joined by `_`. title: a few words. text: one or two sentences. source: keys of `sources.toml`, or a text.
        settings: a frozen dataclass, every field with a default and its words beside the type (`settings.field`).
        make: make(site, placement, settings, progress) -> Plan; pure: no files, no printing.
        gives: what the plan holds beside its summary.
        reads: optional inputs of a site that count for it (`surface`, `structures` ...). follows: settings of a screening that it heeds
        (`apron`, `crop_months` ...), by their names in a project file.
    """

    id: str
    title: str
    text: str
    source: str
    settings: type
    make: Callable[[Site, Placement, Any, Progress], Any]
    gives: tuple[Content, ...]
    reads: tuple[str, ...] = ()
    follows: tuple[str, ...] = ()

    def __call__(self, site: Site, place: Placement, settings: Any = None, progress: Progress = silent) -> Any:
        """The plan of a placement. Errors: as the plan's own function."""
        return self.make(site, place, self.settings() if settings is None else settings, progress)


def plan_faults(kind: PlanKind) -> list[str]:
    """What is wrong with a kind of plan before it is ever made, in words; empty = nothing found."""
    found = [f"its {name} is empty" for name in ("title", "text", "source") if not str(getattr(kind, name)).strip()]
    if not ID.fullmatch(str(kind.id)):
        found.append(f"its id {kind.id!r} is not lower-case words joined by _")
    if not all(isinstance(one, Content) and one.kind in CONTENTS and ID.fullmatch(one.id) for one in kind.gives):
        return [*found, f"what it gives are not Contents of {', '.join(CONTENTS)}"]
    names = [one.id for one in kind.gives]
    if len(set(names)) < len(names) or SUMMARY in names:
        found.append("what it gives has a name twice, or the name summary")
    if not dataclasses.is_dataclass(kind.settings):
        return [*found, "its settings are no dataclass"]
    try:
        kind.settings()
    except TypeError as problem:
        found.append(f"its settings have no defaults ({problem})")
    if not callable(kind.make):
        return [*found, "its make cannot be called"]
    try:
        inspect.signature(kind.make).bind(None, None, None, None)
    except TypeError as problem:
        found.append(f"its make does not take site, placement, settings and progress ({problem})")
    except ValueError:  # a built-in function that does not tell
        pass
    return found


def guarded_plan(kind: PlanKind, failed: Callable[[str, str], TunnelsiteError]) -> PlanKind:
    """The same kind of plan, which raises `failed(id, problem)` for whatever goes wrong in it or comes out wrong."""
    return replace(kind, make=partial(_guarded, kind, failed))


def _guarded(
    kind: PlanKind,
    failed: Callable[[str, str], TunnelsiteError],
    site: Site,
    place: Placement,
    settings: Any,
    progress: Progress,
) -> Any:
    try:
        made = kind.make(site, place, settings, progress)
    except TunnelsiteError:
        raise  # it says what was given and how to fix it: the wrong setting is not the plug-in's fault
    except Exception as problem:
        raise failed(kind.id, f"{type(problem).__name__}: {problem}") from problem
    wrong = list(content_faults(kind, made))
    if wrong:
        raise failed(kind.id, "; ".join(wrong))
    return made


def content_faults(kind: PlanKind, made: Any) -> list[str]:
    """Where a plan that was made is not what its kind says it is, in words; empty = nothing found."""
    missing = [name for name in ATTRIBUTES if not hasattr(made, name)]
    if missing:
        return [f"a plan without {', '.join(missing)} was made"]
    found = []
    holds: Mapping[str, Mapping[str, Any]] = {LAYER: made.layers, TABLE: made.tables, PICTURE: made.pictures}
    for one in kind.gives:
        if one.id not in holds[one.kind] and not one.optional:
            found.append(f"the {one.kind} {one.id} is missing")
    named = {(one.kind, one.id) for one in kind.gives}
    found += [
        f"the {what} {name} is not named"
        for what, items in holds.items()
        for name in items
        if (what, name) not in named
    ]
    try:
        json.dumps(made.summary, allow_nan=False)
    except (TypeError, ValueError) as problem:
        found.append(f"its summary is not ready for JSON ({problem})")
    return found
