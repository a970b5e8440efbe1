"""hatchling, which asks for numba where a wheel is built and kernels are compiled ahead for it, and not for an editable install.

A build hook of hatchling cannot tell the two apart when it is asked what it depends on; PEP 517 lets a project's own backend do so.
"""

from __future__ import annotations

import tomllib
from pathlib import Path
from typing import Any

from hatchling import build
from hatchling.build import *  # noqa: F403

_KERNELS_NEED = ("numpy", "numba")


def get_requires_for_build_wheel(config_settings: dict[str, Any] | None = None) -> list[str]:
    """What hatchling needs, and numba in the release that the environment would take, or the kernels go unused."""
    project = tomllib.loads(Path("pyproject.toml").read_text("utf-8"))["project"]
    ahead = [one for one in project["dependencies"] if one.startswith(_KERNELS_NEED)]
    return [*build.get_requires_for_build_wheel(config_settings), *ahead]
