"""Every compiled kernel lets go of the interpreter: else Ctrl-C would not be heard until a large grid is done."""

from __future__ import annotations

import importlib
import pkgutil

from numba.core.dispatcher import Dispatcher

import tunnelsite.kernels


def test_every_kernel_lets_go_of_the_interpreter() -> None:
    kernels = {}
    for module in pkgutil.walk_packages(tunnelsite.kernels.__path__, "tunnelsite.kernels."):
        for name, value in vars(importlib.import_module(module.name)).items():
            if isinstance(value, Dispatcher) and value.__module__ == module.name:
                kernels[f"{module.name}.{name}"] = value.targetoptions
    assert len(kernels) > 80
    # what is always put into its caller is never called from Python
    held = [name for name, asked in kernels.items() if not asked.get("nogil") and asked.get("inline") != "always"]
    assert not held
