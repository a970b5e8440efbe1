"""What the environment of a command may say, and what not."""

from __future__ import annotations

import re
import sys
import warnings
from collections.abc import Mapping

from tunnelsite.core.errors import UsageError
from tunnelsite.core.moment import run_moment

THREADS = "NUMBA_NUM_THREADS"
MOST_THREADS = 4096


def check_environment(environment: Mapping[str, str]) -> None:
    """Errors: UsageError for a variable that this program or its libraries read and that holds what it cannot mean."""
    run_moment(environment)
    threads = environment.get(THREADS, "").strip()
    if THREADS in environment and not (re.fullmatch("[0-9]{1,4}", threads) and 1 <= int(threads) <= MOST_THREADS):
        raise UsageError(f"{THREADS} is {threads!r}", f"a whole number from 1 to {MOST_THREADS}", "correct or unset it")


def warn_only() -> None:
    """Warnings of libraries end no command, even where PYTHONWARNINGS or -W makes errors of them."""
    if any("error" in option for option in sys.warnoptions):
        warnings.resetwarnings()
        warnings.simplefilter("ignore")
