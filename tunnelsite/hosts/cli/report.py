"""`report`: a screening as one page to read, to re-weigh and to hand over."""

from __future__ import annotations

import argparse
from pathlib import Path
from typing import TYPE_CHECKING, Any

from tunnelsite.core.errors import UsageError
from tunnelsite.hosts.cli.inputs_named import inputs_named
from tunnelsite.hosts.cli.progress import Progress
from tunnelsite.hosts.cli.project_values import check_screened, project_values
from tunnelsite.hosts.cli.streams import answer

if TYPE_CHECKING:
    from tunnelsite.core.site import Site
    from tunnelsite.report.report import Report
    from tunnelsite.report.settings import ReportSettings
    from tunnelsite.screening.result import Result


def report(given: argparse.Namespace) -> int:
    """Screen (or take a kept run), study the best candidates, and write the page."""
    values = project_values(given)
    if given.sites is not None and given.run is not None:
        raise UsageError("a finished screening and --run were given", "one of the two", "leave one out")
    values.pop("out", None)  # a project's `out` is the GeoPackage of `screen`, not this page
    from tunnelsite.settings.model import settings_from

    settings_from(values)  # wrong settings are refused before anything is read
    asked = _asked(given)
    if asked.ranks and given.sites is not None:
        from tunnelsite.core.units import whole_number
        from tunnelsite.io.read.sites_file import check_ranks

        check_ranks(given.sites, [whole_number(text, "ranks", 1, 10_000) for text in asked.ranks])
    outputs = _outputs(given)
    pictures = [asked.logo, asked.layout, *(part.strip() for text in asked.photo.values() for part in text.split(","))]
    named = [given.run, *pictures]
    inputs = [*inputs_named(given, values), *(path for path in named if path)]
    progress = Progress(quiet=given.quiet)
    from tunnelsite.io.write.outputs import reserved_outputs

    browser = None
    if "pdf" in outputs:
        from tunnelsite.io.write.print_page import browser_for

        browser = browser_for(given.browser)
    with reserved_outputs(outputs, inputs, overwrite=bool(given.overwrite)):
        result, site = _kept(given, values, progress) if given.run else _screened(given, values, progress)
        made = _page(given, result, site, progress)
        _written(outputs, made, bool(given.overwrite), browser)
        progress("writing", 1.0)
    summary = {"outputs": {name: str(path) for name, path in outputs.items()}} | made.summary
    answer(summary, _words, as_json=given.json)
    return 0


def _outputs(given: argparse.Namespace) -> dict[str, Path]:
    found = {"page": Path(given.out)}
    if given.pdf is not None:
        found["pdf"] = Path(given.pdf)
    if given.checklists is not None:
        found["checklists"] = Path(given.checklists)
    pages = (".html", ".htm")
    for name, option, endings in (
        ("page", "--out", pages),
        ("pdf", "--pdf", (".pdf",)),
        ("checklists", "--checklists", pages),
    ):
        if name in found and found[name].suffix.lower() not in endings:
            raise UsageError(f"{option} is {found[name]}", f"a name that ends in {endings[0]}", "rename it")
    if given.browser is not None and given.pdf is None:
        raise UsageError("--browser without --pdf", "both together", "the browser only prints the PDF")
    return found


def _asked(given: argparse.Namespace) -> ReportSettings:
    """What the options ask of the page. Errors: UsageError."""
    from tunnelsite.hosts.cli.setting_options import settings_asked
    from tunnelsite.report.settings import ReportSettings

    return settings_asked(given, ReportSettings)


def _screened(given: argparse.Namespace, values: dict[str, Any], progress: Progress) -> tuple[Result, None]:
    """A screening made now; it has its own site."""
    from tunnelsite.io.read.site import inputs_unchanged, site_from
    from tunnelsite.screening.run import screen
    from tunnelsite.settings.model import settings_from

    settings = settings_from(values)
    progress("reading", 0.0)
    site = site_from(settings)
    check_screened(given, site)
    result = screen(site, settings=settings, progress=progress)
    inputs_unchanged(site)
    return result, None


def _kept(given: argparse.Namespace, values: dict[str, Any], progress: Progress) -> tuple[Result, Site | None]:
    """A kept run and its inputs, where they are named. Errors: UsageError for inputs that are not the run's."""
    from tunnelsite.screening.kept_run import kept_run

    progress("reading the kept run", 0.0)
    result = kept_run(given.run)
    progress("reading the kept run", 1.0)
    if not values.get("dem") or not result.choices:
        return result, None
    from tunnelsite.io.read.site import inputs_unchanged, site_from
    from tunnelsite.report.report import check_inputs
    from tunnelsite.settings.model import settings_from

    site = site_from(settings_from(values))
    check_inputs(result, site, given.run)
    inputs_unchanged(site)
    return result, site


def _page(given: argparse.Namespace, result: Result, site: Site | None, progress: Progress) -> Report:
    from tunnelsite.report.report import make_report

    return make_report(result, _asked(given), site=site, progress=progress)


def _written(outputs: dict[str, Path], made: Report, overwrite: bool, browser: str | None) -> None:
    if "pdf" in outputs:
        made.write_pdf(outputs["pdf"], browser, overwrite=overwrite)
    made.write(outputs["page"], overwrite=overwrite)
    if "checklists" in outputs:
        from tunnelsite.io.write.staging import write_whole
        from tunnelsite.report.checklists import checklists_page, known_of

        write_whole(outputs["checklists"], checklists_page(known=known_of(made.studies)), overwrite=overwrite)


def _words(summary: dict[str, Any]) -> str:
    lines = [
        f"{summary['candidates']} candidates, {summary['cards']} with a card; {summary['page_bytes'] / 1e6:.1f} MB"
    ]
    lines += [f"not planned: {text}" for text in summary["not_planned"]]
    lines += [f"written: {path}" for path in summary["outputs"].values()]
    lines.append(
        "Open the page in any browser; it needs no network. It screens, it certifies nothing: see its cautions."
    )
    return "\n".join(lines)
