"""What keeps a broken plug-in from stopping a run: its description is looked over, and what it returns is checked."""

from __future__ import annotations

import inspect
import re
import reprlib
from collections.abc import Mapping
from dataclasses import replace
from functools import partial
from typing import Any

import numpy as np

from tunnelsite.core.criterion import Criterion, Placements, Truth
from tunnelsite.core.describe import Description, LayerSpec, Parameter
from tunnelsite.core.errors import TunnelsiteError
from tunnelsite.core.house import KINDS
from tunnelsite.core.layers import Layer
from tunnelsite.core.needs import LIMITS, fact_faults, is_condition
from tunnelsite.core.process import ByTiles, GroundTiles, Process, Progress, Write
from tunnelsite.core.rubric import Rubric

CALLED = {
    "measure": ("site",),
    "truth": ("site", "measure"),
    "run": ("inputs", "parameters", "progress"),
}  # what is given by place
ID = re.compile(r"[a-z][a-z0-9]*(_[a-z0-9]+)*")


class PlugInFailed(TunnelsiteError):
    """A criterion or process of another package did not do what it says; `plug_in` is its id."""

    exit_status = 2

    def __init__(self, plug_in: str, problem: str, fix: str = "update or uninstall the package that offers it") -> None:
        self.plug_in, self.problem = plug_in, problem
        super().__init__(f"plug-in {plug_in!r} failed: {problem}", "what its description says", fix)

    def __reduce__(self) -> tuple[object, ...]:
        return (type(self), (self.plug_in, self.problem, self.fix))


def faults(item: Criterion | Process) -> list[str]:
    """What is wrong with a criterion or process before it is ever run, in words; empty = nothing found."""
    about = item.description
    if not isinstance(about, Description):
        return [f"its description is {_given(about)}: make it with tunnelsite.core.describe.Description"]
    found = [
        f"its {name} is empty: write it"
        for name in ("title", "text", "source")
        if not str(getattr(about, name)).strip()
    ]
    if not ID.fullmatch(str(about.id)):
        found.append(f"its id {about.id!r} is not lower-case words joined by _, as in distance_to_lime")
    for name, kind in (("reads", LayerSpec), ("makes", LayerSpec), ("parameters", Parameter)):
        if not all(isinstance(one, kind) for one in getattr(about, name)):
            return [*found, f"its {name} hold what is no {kind.__name__}: give a tuple of {kind.__name__}(...)"]
    for parameter in about.parameters:
        found += fact_faults(parameter)
        if parameter.default == parameter.default:  # NaN = there is none
            try:
                parameter.checked(parameter.default, str(about.id))
            except (TunnelsiteError, KeyError) as problem:
                found.append(
                    f"the default of its parameter {parameter.id} is refused ({problem}): change that, or what is allowed"
                )
    return found + (_criterion_faults(item) if isinstance(item, Criterion) else _process_faults(item))


def _criterion_faults(item: Criterion) -> list[str]:
    found = []
    if not item.description.unit:
        found.append('its measure has no unit: give its description one, "1" for a plain number')
    if not ("any" in item.rubrics or set(KINDS) <= set(item.rubrics)):
        found.append("it has no rubric for `any` kind of house: add one under the key 'any'")
    found += [
        f"its rubric for {kind!r} is {_given(rubric)}: make it with tunnelsite.core.rubric.Rubric"
        for kind, rubric in item.rubrics.items()
        if not isinstance(rubric, Rubric)
    ]
    found += [
        f"it needs {need!r}, which is no input: docs/plugins.md lists the conditions"
        for need in item.needs
        if not is_condition(need)
    ]
    if item.limit_by not in ("", *LIMITS):
        found.append(
            f"its limit_by {item.limit_by!r} is no setting of a limit: one of {', '.join(LIMITS)}, or leave it out"
        )
    named = {parameter.id: parameter.default for parameter in item.description.parameters}
    if item.truth is not None:
        found += _call_faults(item.truth, "truth", named)
    return found + _call_faults(item.measure, "measure", named)


def _process_faults(item: Process) -> list[str]:
    found = [] if item.description.makes else ["it makes nothing: name in its description what it makes"]
    if item.by_tiles is not None and not isinstance(item.by_tiles, ByTiles):
        found.append(
            f"its by_tiles is {_given(item.by_tiles)}: make it with tunnelsite.core.process.ByTiles, or leave it out"
        )
    return found + _call_faults(item.run, "run", {})


def _given(value: object) -> str:
    """What stands where something else is expected: the value, shortened, and its type."""
    return f"{reprlib.repr(value)} (of the type {type(value).__name__})"


def _call_faults(function: Any, name: str, named: dict[str, Any]) -> list[str]:
    if not callable(function):
        return [f"its {name} is {_given(function)}, which cannot be called: give a function"]
    try:
        inspect.signature(function).bind(*CALLED[name], **named)
    except TypeError as problem:
        return [
            f"its {name} does not take its parameters ({problem}): it is called as {name}({', '.join([*CALLED[name], *named])})"
        ]
    except ValueError:  # a built-in function that does not tell
        return []
    return []


def guarded(item: Criterion | Process) -> Criterion | Process:
    """The same criterion or process, which raises PlugInFailed for whatever goes wrong in it or comes out wrong.

    It can be pickled where the plug-in's own functions can.
    """
    if isinstance(item, Criterion):
        truth = None if item.truth is None else partial(_guarded_truth, item)
        return replace(item, measure=partial(_guarded_measure, item), truth=truth)
    by_tiles = item.by_tiles and replace(item.by_tiles, run=partial(_guarded_tiles, item))
    return replace(item, run=partial(_guarded_run, item), by_tiles=by_tiles)


def _guarded_measure(item: Criterion, site: Placements, /, **parameters: Any) -> np.ndarray:
    missing = [spec.id for spec in item.description.reads if spec.id not in site.frame.layers]
    if missing:
        raise PlugInFailed(item.id, f"it reads {', '.join(missing)}, which nothing made")
    before = site.feasible().copy()
    try:
        found = np.asarray(item.measure(site, **parameters))
        if found.dtype.kind not in "fiub":
            raise TypeError(f"measure returned {found.dtype}, not numbers")
        found = found.astype(np.float32)
    except Exception as problem:  # whatever a plug-in does wrong must not stop the run
        raise PlugInFailed(item.id, f"{type(problem).__name__}: {problem}") from problem
    if found.shape != before.shape:
        raise PlugInFailed(item.id, f"measure returned shape {found.shape}, not {before.shape}")
    if np.isinf(found).any():
        raise PlugInFailed(item.id, "measure returned infinite values")
    if not np.array_equal(before, site.feasible()):
        raise PlugInFailed(item.id, "measure changed which placements are in the running")
    return found


def _guarded_truth(item: Criterion, site: Placements, measure: np.ndarray, /, **parameters: Any) -> Truth:
    assert item.truth is not None
    try:
        mean, se = (np.asarray(part, np.float32) for part in item.truth(site, measure, **parameters))
    except Exception as problem:  # whatever a plug-in does wrong must not stop the run
        raise PlugInFailed(item.id, f"{type(problem).__name__}: {problem}") from problem
    if any(part.shape not in ((), measure.shape) for part in (mean, se)):
        raise PlugInFailed(item.id, f"truth returned shapes {mean.shape} and {se.shape}, not {measure.shape}")
    if np.isinf(mean).any() or (se < 0).any():
        raise PlugInFailed(item.id, "truth returned infinite values or a standard error below 0")
    return Truth(mean, se)


def _guarded_tiles(
    item: Process, ground: GroundTiles, parameters: Mapping[str, Any], write: Write, progress: Progress
) -> None:
    assert item.by_tiles is not None
    try:
        item.by_tiles.run(ground, parameters, write, progress)
    except TunnelsiteError:
        raise
    except Exception as problem:
        raise PlugInFailed(item.id, f"{type(problem).__name__}: {problem}") from problem


def _guarded_run(
    item: Process, inputs: Mapping[str, Layer], parameters: Mapping[str, Any], progress: Progress
) -> dict[str, Layer]:
    try:
        found = item.run(inputs, parameters, progress)
    except TunnelsiteError:
        raise  # it says what was given and how to fix it: the wrong setting is not the plug-in's fault
    except Exception as problem:
        raise PlugInFailed(item.id, f"{type(problem).__name__}: {problem}") from problem
    shapes = {np.shape(layer.values) for layer in inputs.values() if np.ndim(layer.values) == 2}
    for spec in item.description.makes:
        layer = found.get(spec.id) if isinstance(found, dict) else None
        if not isinstance(layer, Layer):
            raise PlugInFailed(item.id, f"run returned no layer {spec.id!r}")
        if len(shapes) == 1 and np.shape(layer.values) not in shapes:
            raise PlugInFailed(item.id, f"layer {spec.id} has shape {np.shape(layer.values)}, not {shapes.pop()}")
    return found
