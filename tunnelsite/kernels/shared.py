"""Kernels whose rounds are shared out among threads.

numba's own parallel loops take three times as long to compile, which a first start has to wait for, and their threads spin between calls.

The threads are started anew for each call: that costs a tenth of a millisecond, keeps nothing between calls, and is safe in a process
that forks or has threads of its own. A kernel is compiled once, as it would be for one thread.
"""

from __future__ import annotations

import threading
from collections import deque
from collections.abc import Callable

import numba

from tunnelsite.kernels.compiled import njit
from tunnelsite.kernels.options import FAST, PLAIN

_PARTS = 4  # for each thread: one that is held up leaves the rest to others


class Shared:
    """A compiled kernel(mine, *arguments) that goes through the rounds mine[0]..mine[1] of its work or, if `single`, does round `mine`.

    Called with the number of rounds in place of `mine`, it is run for all of them by as many threads as numba's
    `get_num_threads` says. No result may depend on how the rounds are cut.
    """

    def __init__(self, function: Callable, options: dict = PLAIN, *, single: bool = False) -> None:
        self.single = single
        self.kernel = njit(**options)(function)
        self.__doc__, self.__name__ = function.__doc__, function.__name__

    def __call__(self, rounds: int, *arguments) -> list:
        """Return what the kernel gave for each part, in no certain order."""
        threads = min(numba.get_num_threads(), rounds)
        if threads < 2:
            return self._part((0, rounds), arguments) if rounds > 0 else []
        count = min(rounds, threads * _PARTS)
        left = deque((rounds * k // count, rounds * (k + 1) // count) for k in range(count))
        found: list = []
        failed: list[BaseException] = []

        def work() -> None:
            try:
                while True:
                    try:
                        part = left.popleft()
                    except IndexError:  # none is left
                        return
                    found.extend(self._part(part, arguments))
            except BaseException as problem:
                failed.append(problem)
                left.clear()

        helpers = [threading.Thread(target=work, daemon=True) for _ in range(threads - 1)]
        for helper in helpers:
            helper.start()
        try:
            work()
        finally:
            left.clear()
            for helper in helpers:
                helper.join()
        if failed:
            raise failed[0]
        return found

    def _part(self, mine: tuple[int, int], arguments: tuple) -> list:
        if self.single:
            return [self.kernel(one, *arguments) for one in range(*mine)]
        return [self.kernel(mine, *arguments)]


def shared(function: Callable) -> Shared:
    """Compile a kernel whose rounds are shared out, see `Shared`."""
    return Shared(function)


def shared_singly(function: Callable) -> Shared:
    """Compile a kernel that does one round, of a tenth of a millisecond or more, see `Shared`."""
    return Shared(function, single=True)


def fast_shared(function: Callable) -> Shared:
    """Compile a kernel as `shared`, with fused multiply-add allowed."""
    return Shared(function, FAST)
