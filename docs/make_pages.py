"""Writes the pages that are made from descriptions: `python docs/make_pages.py`."""

from __future__ import annotations

from collections.abc import Callable
from pathlib import Path

from tunnelsite.core import catalogue
from tunnelsite.core.sources import sources
from tunnelsite.decisions import pages
from tunnelsite.decisions.api_page import api_page
from tunnelsite.settings.model import Settings
from tunnelsite.settings.presets import presets

PAGES: dict[str, Callable[[], str]] = {
    "criteria.md": lambda: pages.criteria_page(catalogue.criteria()),
    "processes.md": lambda: pages.processes_page(catalogue.processes()),
    "presets.md": lambda: pages.presets_page(presets()),
    "settings.md": lambda: pages.settings_page(
        {"Screening": Settings} | {k.title: k.settings for k in catalogue.plans()}
    ),
    "plans.md": lambda: pages.plans_page(catalogue.plans()),
    "sources.md": lambda: pages.sources_page(sources()),
    "plugins.md": pages.needs_page,
    "api.md": api_page,
}

if __name__ == "__main__":
    for name, text in PAGES.items():
        (Path(__file__).parent / name).write_text(text(), encoding="utf-8")
