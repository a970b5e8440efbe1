"""How much a client of the server may ask for."""

from __future__ import annotations

import os
from dataclasses import asdict, dataclass
from typing import Any

MIB = 1 << 20


@dataclass(frozen=True)
class Limits:
    """What one request and one job may use.

    Attributes:
        max_cells: of a raster, and of the working grid of a screening. sync_cells: of the rasters of a job that is waited for.
        body_bytes: of a request. max_jobs: running at once. max_waiting: accepted and not yet running.
        job_seconds: of wall clock, and of processor time on each core. job_memory_bytes: address space of a job.
        file_bytes: of each file a job writes. keep_seconds: until a finished job is forgotten.
        max_kept: finished jobs that are kept; of more the oldest are forgotten sooner.
    """

    max_cells: int = 16_000_000
    sync_cells: int = 1_000_000
    body_bytes: int = 64 * MIB
    max_jobs: int = 2
    max_waiting: int = 8
    job_seconds: int = 600
    job_memory_bytes: int = 6144 * MIB
    file_bytes: int = 1024 * MIB
    keep_seconds: int = 3600
    max_kept: int = 100

    def plain(self) -> dict[str, int]:
        """As a pygeoapi configuration can hold it."""
        return asdict(self)

    def threads(self) -> int:
        """Threads of one job, so that all running jobs together use each core once."""
        return max(1, (os.cpu_count() or 1) // self.max_jobs)


def limits_from(plain: dict[str, Any] | None) -> Limits:
    """The limits of a pygeoapi configuration; what it does not say is as usual."""
    return Limits(**(plain or {}))
