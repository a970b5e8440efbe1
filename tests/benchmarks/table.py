"""One line of the table of performance, and the words about the machine it was measured on."""

from __future__ import annotations

import os
import platform
from dataclasses import dataclass
from pathlib import Path

import numba
import numpy as np


@dataclass(frozen=True)
class Figure:
    """One measured ratio.

    Attributes: step; ratio; goal, None where there is none; at_least, whether more is better; detail, the figures behind it.
    """

    step: str
    ratio: float
    goal: float | None = None
    at_least: bool = True
    detail: str = ""

    @property
    def met(self) -> str:
        """`yes`, `no`, or nothing without a goal."""
        if self.goal is None:
            return ""
        return "yes" if (self.ratio >= self.goal if self.at_least else self.ratio <= self.goal) else "no"

    @property
    def wanted(self) -> str:
        """The goal in words."""
        return "" if self.goal is None else f"{'at least' if self.at_least else 'at most'} {self.goal:g}"

    def __str__(self) -> str:
        return f"{self.step:<62}{self.ratio:8.2f}  {self.wanted:<14}{self.met:<4} {self.detail}"


def show(figures: list[Figure]) -> None:
    """Print them."""
    for figure in figures:
        print(figure, flush=True)


def markdown(figures: list[Figure]) -> str:
    """The table of all figures under the machine they were measured on."""
    lines = [machine(), "", "| step | ratio | goal | met | behind it |", "|---|---|---|---|---|"]
    lines += [f"| {one.step} | {one.ratio:.3g} | {one.wanted} | {one.met} | {one.detail} |" for one in figures]
    return "\n".join(lines) + "\n"


def machine() -> str:
    """Processor, cores, memory, load and versions."""
    text = Path("/proc/cpuinfo").read_text() if Path("/proc/cpuinfo").is_file() else ""
    names = [line.split(":", 1)[1].strip() for line in text.splitlines() if line.startswith("model name")]
    memory = ""
    if hasattr(os, "sysconf") and "SC_PHYS_PAGES" in os.sysconf_names:
        memory = f", {os.sysconf('SC_PHYS_PAGES') * os.sysconf('SC_PAGE_SIZE') / 2**30:.0f} GiB"
    load = f"; load at the start {os.getloadavg()[0]:.1f}" if hasattr(os, "getloadavg") else ""
    return (
        f"{names[0] if names else platform.processor() or platform.machine()}, {os.cpu_count()} cores{memory}; "
        f"Python {platform.python_version()}, numpy {np.__version__}, numba {numba.__version__}{load}."
    )
