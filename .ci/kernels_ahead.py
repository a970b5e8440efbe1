"""Build hook of hatchling: compiles the kernels of a screening while the wheel is built, so that the first start need not.

numba takes what it finds in `__pycache__` only where its own version, the Python version, the processor and the kernel's source are those
that it was compiled for (older releases ask for the time of the source, which an installer changes); elsewhere the first start compiles,
as it does where nothing was compiled ahead. HATCH_BUILD_NO_HOOKS=true builds without.
"""

from __future__ import annotations

import os
import shutil
import subprocess
import sys
import tempfile
from pathlib import Path
from typing import Any

from hatchling.builders.hooks.plugin.interface import BuildHookInterface

_MOST_S = 900


class KernelsAhead(BuildHookInterface):
    """Puts compiled kernels into a wheel; an editable install compiles at its first start."""

    def initialize(self, version: str, build_data: dict[str, Any]) -> None:
        if version == "editable":
            return
        # a copy: the kernels of a checkout are left alone, and old ones of it left out
        self._folder = tempfile.mkdtemp()
        package = Path(self._folder, "tunnelsite")
        shutil.copytree(Path(self.root, "tunnelsite"), package, ignore=shutil.ignore_patterns("__pycache__"))
        compile_in(self._folder)
        kernels = list(package.rglob("*.nb[ic]"))
        build_data["force_include"].update({str(path): str(path.relative_to(self._folder)) for path in kernels})
        if not kernels:
            self.app.display_warning("No kernel could be compiled ahead: the first start of tunnelsite compiles them.")

    def finalize(self, version: str, build_data: dict[str, Any], artifact_path: str) -> None:
        if version != "editable":
            shutil.rmtree(self._folder, ignore_errors=True)


def compile_in(folder: str) -> None:
    """Compile into the `__pycache__` of the package in this folder, in as many processes as there are ways to go through the kernels."""
    mine = {name: value for name, value in os.environ.items() if not name.startswith("NUMBA_")}
    paths = os.pathsep.join(filter(None, (folder, os.environ.get("PYTHONPATH"))))
    ways = (["--from-the-start"], [])[: os.cpu_count() or 1]
    runs = [
        subprocess.Popen(
            [sys.executable, "-m", "tunnelsite.kernels.first_run", *way],
            cwd=folder,
            env=mine | {"PYTHONPATH": paths, "NUMBA_NUM_THREADS": "1"},
            stdin=subprocess.PIPE,  # closes where the build is broken off, and ends them
        )
        for way in ways
    ]
    try:
        for run in runs:
            run.wait(_MOST_S)
    except subprocess.TimeoutExpired:  # what is compiled by then is whole
        pass
    finally:
        for run in runs:
            run.kill()
            run.wait()
