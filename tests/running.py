"""Processes that tests have started."""

from __future__ import annotations

import time

import psutil


def has_ended(number: int, within_s: float = 5.0) -> bool:
    """Whether a process is gone, at once or a moment later. Arguments: its number; how long to wait [s]."""
    end = time.monotonic() + within_s
    while time.monotonic() < end:
        try:
            if psutil.Process(number).status() == psutil.STATUS_ZOMBIE:
                return True
        except psutil.NoSuchProcess:
            return True
        time.sleep(0.05)
    return False
