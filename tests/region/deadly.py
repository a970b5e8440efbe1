"""Stands for the screening of one task: a task of the wrong key takes its worker with it, as one that eats all memory does."""

from __future__ import annotations

import os
import time

FATAL = "f" * 64


def run(inputs, settings, key: str, wanted) -> bytes:
    """The key as bytes, or the end of the process."""
    if key == FATAL:
        time.sleep(0.3)  # so that others wait at the same worker
        os._exit(9)
    return key.encode()
