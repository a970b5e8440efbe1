"""The command line of which no task ends once some are kept, so that it is surely interrupted in the middle: python -m
tests.region.endless WORDS, the folder of the parts in the environment."""

from __future__ import annotations

import os
import sys
import time
from pathlib import Path

from tunnelsite.region import running
from tunnelsite.region.running import run_task

FOLDER, KEPT = "TEST_PARTS", 2


def run(inputs, settings, key: str, wanted) -> bytes:
    """What a task finds, or nothing for minutes."""
    if len(list(Path(os.environ[FOLDER]).glob("*.json.gz"))) >= KEPT:
        time.sleep(600)
    return run_task(inputs, settings, key, wanted)


if __name__ == "__main__":
    from tests.region import endless
    from tunnelsite.hosts.cli.main import main

    running.run_task = endless.run  # by a name that workers can import
    sys.exit(main())
