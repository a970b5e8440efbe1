"""The input files that a command names."""

from __future__ import annotations

import argparse
from collections.abc import Mapping
from typing import Any

INPUT_SETTINGS = (
    "dem",
    "parcels",
    "drawn",
    "far_dem",
    "surface",
    "obstacles",
    "structures",
    "lamps",
    "soils",
    "weather",
    "wind",
)
INPUT_OPTIONS = (
    "project",
    "again",
    "sites",
    "level_book",
    "grading",
    "field_horizon",
    "kept",
    "first",
    "second",
    "input",
)


def inputs_named(given: argparse.Namespace, values: Mapping[str, Any]) -> list[str]:
    """Every file that the options or the settings name as an input.

    Arguments: given, the command line; values, settings by name (`project_values`).
    """
    from tunnelsite.io.read.named_files import paths_named
    from tunnelsite.settings.model import keep_out_parts, own_layer_parts

    found = [getattr(given, name, None) for name in INPUT_OPTIONS] + [values.get(name) for name in INPUT_SETTINGS]
    found += list((values.get("service") or {}).values())
    found += [own_layer_parts(text)[0] for text in (values.get("layer") or {}).values()]
    found += paths_named(values.get("parameter") or {})
    keep_outs = values.get("keep_out") or []
    found += [keep_out_parts(text)[0] for text in ([keep_outs] if isinstance(keep_outs, str) else keep_outs)]
    return [str(path) for path in found if path is not None]
