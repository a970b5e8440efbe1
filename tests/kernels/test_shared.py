"""Rounds of a kernel shared out among threads: all are done once, and an error of any kind comes out."""

from __future__ import annotations

import numba
import numpy as np
import pytest

from tunnelsite.kernels.shared import shared, shared_singly


@shared
def _count(mine, times):
    for k in range(mine[0], mine[1]):
        times[k] += 1


@shared_singly
def _stumble(mine, at):
    if mine == at:
        raise IndexError("round")


@pytest.mark.parametrize("rounds", [0, 1, 7, 100])
def test_every_round_is_done_once(rounds: int) -> None:
    times = np.zeros(rounds, np.int64)
    _count(rounds, times)
    assert (times == 1).all()


@pytest.mark.parametrize("threads", [1, 2])
def test_no_error_is_taken_for_the_end_of_the_work(threads: int) -> None:
    before = numba.get_num_threads()
    numba.set_num_threads(min(threads, numba.config.NUMBA_NUM_THREADS))
    try:
        with pytest.raises(IndexError, match="round"):
            _stumble(40, 3)
    finally:
        numba.set_num_threads(before)
