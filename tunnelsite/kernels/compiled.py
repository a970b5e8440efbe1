"""Kernels compiled by numba and kept on disk. What is kept is a help and never a hindrance.

numba looks into what it kept before it knows whether it is of this version of the program, and a class that is gone by then, or a file
that was cut off, ends the run with an error of `pickle`. Here what cannot be read is thrown away and compiled anew.
"""

from __future__ import annotations

import contextlib
from collections.abc import Callable
from typing import TYPE_CHECKING, Any

import numba
from numba.core.caching import FunctionCache
from numba.core.compiler import Compiler
from numba.core.runtime import rtsys

if TYPE_CHECKING:
    from numba.core.dispatcher import Dispatcher


class KernelCache(FunctionCache):
    """What numba keeps of one kernel, as numba does it, but no error of it ends a run."""

    def load_overload(self, sig: Any, target_context: Any) -> Any:
        """The kept kernel for a signature; None where there is none, or none that can be read."""
        with contextlib.suppress(Exception):
            return self._load_alone(sig, target_context)
        try:
            return super().load_overload(sig, target_context)
        except Exception:  # unpickling raises whatever the bytes lead to
            try:
                self.flush()
            except OSError:  # a folder of another user: nothing can be kept beside it
                self.disable()
            return None

    def _load_alone(self, sig: Any, target_context: Any) -> Any:
        """As numba does it, but without all that a compiler has to know, half a second: what is kept needs the memory of arrays alone.

        numba learns the rest as soon as something has to be compiled after all. A kernel that hashes would need more than this.
        """
        rtsys.initialize(target_context)
        with self._guard_against_spurious_io_errors():
            return self._load_overload(sig, target_context)

    def save_overload(self, sig: Any, data: Any) -> None:
        """Keep a kernel; where the disk is full it is compiled again next time."""
        with contextlib.suppress(OSError):
            super().save_overload(sig, data)


class _Apart(Compiler):
    """Compiles a kernel for arrays that share no memory."""

    def define_pipelines(self) -> Any:
        """The usual passes."""
        self.state.flags.noalias = True
        return super().define_pipelines()


def njit(*, cache: bool = False, apart: bool = False, **options: Any) -> Callable[[Callable], Dispatcher]:
    """As `numba.njit`, with what is kept on disk in a `KernelCache`.

    Arguments: apart, that no array which the kernel writes shares memory with another that it uses: a vectorised loop need not find that
    out each time it starts, which takes as long as a short one; options of numba, see `options`.
    """
    compiled = numba.njit(**options, **({"pipeline_class": _Apart} if apart else {}))

    def made(function: Callable) -> Dispatcher:
        found: Dispatcher = compiled(function)
        if cache:
            found._cache = KernelCache(found.py_func)  # where numba's own `enable_caching` puts one
        return found

    return made
