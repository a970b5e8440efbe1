"""A screening as one page to read, to re-weigh and to hand over."""

from __future__ import annotations

import os
from collections.abc import Sequence
from dataclasses import dataclass
from pathlib import Path
from typing import Any

from tunnelsite.core.errors import UsageError, given_or, refuse_other
from tunnelsite.core.moment import run_moment
from tunnelsite.core.process import Progress, silent
from tunnelsite.core.site import Site
from tunnelsite.io.read.picture import drawing_text, picture_address
from tunnelsite.io.write.staging import write_whole
from tunnelsite.plans.sunchart.view import SunView, sun_view
from tunnelsite.report.candidate_study import Study, studied
from tunnelsite.report.chosen import PageOption, chosen_options
from tunnelsite.report.page import PageAsk, report_page
from tunnelsite.report.plain_words import house_words
from tunnelsite.report.settings import ReportSettings
from tunnelsite.screening.result import Result

LOGO_PIXELS = 480


@dataclass(frozen=True, repr=False)
class Report:
    """A page that needs no network. Attributes: page, an HTML document; studies, of the candidates with a card; candidates, how many."""

    page: str
    studies: Sequence[Study]
    candidates: int

    @property
    def summary(self) -> dict[str, Any]:
        """What is in it, ready for JSON."""
        missing = [f"candidate {s.rank}, {what}: {why}" for s in self.studies for what, why in s.missing.items()]
        size = len(self.page.encode())
        return {"page_bytes": size, "candidates": self.candidates, "cards": len(self.studies), "not_planned": missing}

    def write(self, path: str | os.PathLike[str], *, overwrite: bool = False) -> Path:
        """Write the page. Errors: OutputFailed; what was there before stays whole."""
        write_whole(Path(path), self.page, overwrite=overwrite)
        return Path(path)

    def write_pdf(self, path: str | os.PathLike[str], browser: str | None = None, *, overwrite: bool = False) -> Path:
        """The page as PDF. Arguments: browser, a Chromium that prints it, None = one on the path. Errors: UsageError, OutputFailed."""
        from tunnelsite.io.write.print_page import browser_for, pdf_of

        write_whole(Path(path), pdf_of(self.page, browser_for(browser)), overwrite=overwrite)
        return Path(path)

    def __repr__(self) -> str:
        return f"<Report: {self.candidates} candidates, {len(self.studies)} with a card>"

    def _repr_html_(self) -> str:
        return self.page


def make_report(
    result: Result,
    settings: ReportSettings | None = None,
    *,
    site: Site | None = None,
    progress: Progress = silent,
) -> Report:
    """A screening as one page.

    Args:
        result: a finished screening, or a kept run.
        settings: of the page.
        site: the inputs of a kept run, which give its sun charts; a screening at hand has its own.
        progress: called with (what is being done, share done 0..1).

    Returns:
        Report, which holds the page and writes it.

    Raises:
        UsageError: for inputs that are not those of the screening.
    """
    refuse_other(result, "result", Result)
    asked = given_or(settings, ReportSettings)
    shown, options = chosen_options(result, asked)
    view = _view(result, site) if shown.choices else None
    ranks = range(1, min(asked.most_cards, len(shown.choices)) + 1)
    studies = []
    for rank in ranks:
        progress("studying candidates", (rank - 1) / len(ranks))
        studies.append(studied(shown, rank, view, options[rank - 1].label, asked.utc_offset_h))
    if studies:
        progress("studying candidates", 1.0)
    progress("page", 0.0)
    return Report(report_page(shown, studies, _page_ask(result, asked, options)), studies, len(shown.choices))


def _page_ask(result: Result, asked: ReportSettings, options: Sequence[PageOption]) -> PageAsk:
    houses = " or ".join(dict.fromkeys(house_words(scan.house.name) for scan in result.scans))
    return PageAsk(
        title=asked.title or f"Places for a {houses} house",
        client=asked.client,
        stamp=asked.date or f"{(now := run_moment()).day} {now:%B %Y}",
        options=options,
        chosen=asked.chosen,
        prepared_for=asked.prepared_for or "",
        prepared_by=asked.prepared_by or "",
        layout=drawing_text(asked.layout, "--layout") if asked.layout else "",
        paper=asked.paper or ("Letter" if result.scans[0].house.feet else "A4"),
        logo=picture_address(asked.logo, "--logo", LOGO_PIXELS) if asked.logo else "",
    )


def _view(result: Result, site: Site | None) -> SunView | None:
    """What all sun charts share; None where the rasters of a kept run are not at hand."""
    if result.site.dem.values.size:
        return sun_view(result.site, result.settings, result.frame).with_farm_steps()
    if site is None:
        return None
    check_inputs(result, site, "this run")
    return sun_view(site, result.settings).with_farm_steps()


def check_inputs(result: Result, site: Site, run: str) -> None:
    """Errors: UsageError where a site is not the one that was screened. Arguments: result; site; run, its name in the message."""
    if site.dem.sha256 != result.site.dem.sha256:
        raise UsageError(
            f"{site.dem.name} is not the DEM of {run}: its contents differ",
            f"{result.site.dem.name} as it was screened",
            "name the inputs of that screening, or leave them out and do without sun charts",
        )
