"""`report`: a screening as one page to read, to re-weigh and to hand over."""

from __future__ import annotations

import argparse
from pathlib import Path
from typing import Any

from tunnelsite.core.errors import UsageError
from tunnelsite.hosts.cli.inputs_named import inputs_named
from tunnelsite.hosts.cli.options import project_values
from tunnelsite.hosts.cli.progress import Progress
from tunnelsite.hosts.cli.report_options import CARDS, CLIENT_CARDS
from tunnelsite.hosts.cli.streams import answer


def report(given: argparse.Namespace) -> int:
    """Screen (or take a kept run), study the best candidates, and write the page."""
    values = project_values(given)
    values.pop("out", None)  # a project's `out` is the GeoPackage of `screen`, not this page
    from tunnelsite.settings.model import settings_from

    settings_from(values)  # what is wrong is said before anything is read
    cards = _cards(given)
    outputs = _outputs(given)
    inputs = [*inputs_named(given, values), *([given.run] if given.run else [])]
    progress = Progress(quiet=given.quiet)
    from tunnelsite.io.write.outputs import reserved_outputs

    browser = None
    if "pdf" in outputs:
        from tunnelsite.io.write.print_page import browser_for

        browser = browser_for(given.browser)
    with reserved_outputs(outputs, inputs, overwrite=bool(given.overwrite)):
        result, sun = _kept(given, values, progress) if given.run else _screened(values, progress)
        page, studies = _page(given, (result, sun), cards, progress)
        summary = _written(outputs, page, bool(given.overwrite), browser)
        progress("writing", 1.0)
    summary |= {"candidates": len(result.choices), "cards": len(studies)}
    summary["not_planned"] = [f"candidate {s.rank}, {what}: {why}" for s in studies for what, why in s.missing.items()]
    answer(summary, _words, as_json=given.json)
    return 0


def _cards(given: argparse.Namespace) -> int:
    if given.cards is None:
        return CLIENT_CARDS if given.client else CARDS
    if not given.cards.isascii() or not given.cards.isdigit() or not 0 <= int(given.cards) <= 200:
        raise UsageError(f"--cards is {given.cards!r}", "0 to 200", "correct it")
    return int(given.cards)


def _outputs(given: argparse.Namespace) -> dict[str, Path]:
    found = {"page": Path(given.out)}
    if given.pdf is not None:
        found["pdf"] = Path(given.pdf)
    for name, option, endings in (("page", "--out", (".html", ".htm")), ("pdf", "--pdf", (".pdf",))):
        if name in found and found[name].suffix.lower() not in endings:
            raise UsageError(f"{option} is {found[name]}", f"a name that ends in {endings[0]}", "rename it")
    if given.browser is not None and given.pdf is None:
        raise UsageError("--browser without --pdf", "both together", "the browser only prints the PDF")
    return found


def _screened(values: dict[str, Any], progress: Progress):
    """(result, what the sun charts need) of a screening made now."""
    from tunnelsite.io.read.site import inputs_unchanged, site_from
    from tunnelsite.plans.sunchart.view import sun_view
    from tunnelsite.screening.run import screen
    from tunnelsite.settings.model import settings_from

    settings = settings_from(values)
    progress("reading", 0.0)
    site = site_from(settings)
    result = screen(site, settings=settings, progress=progress)
    inputs_unchanged(site)
    return result, sun_view(site, settings, result.frame).with_farm_steps() if result.choices else None


def _kept(given: argparse.Namespace, values: dict[str, Any], progress: Progress):
    """(result, what the sun charts need or None) of a kept run. Errors: UsageError for inputs that are not the run's."""
    from tunnelsite.screening.kept_run import kept_run

    progress("reading the kept run", 0.0)
    result = kept_run(given.run)
    progress("reading the kept run", 1.0)
    if not values.get("dem") or not result.choices:
        return result, None
    from tunnelsite.io.read.site import inputs_unchanged, site_from
    from tunnelsite.plans.sunchart.view import sun_view
    from tunnelsite.settings.model import settings_from

    settings = settings_from(values)
    site = site_from(settings)
    if site.dem.sha256 != result.site.dem.sha256:
        raise UsageError(
            f"{site.dem.name} is not the DEM of {given.run}: its contents differ",
            f"{result.site.dem.name} as it was screened",
            "name the inputs of that screening, or leave them out and do without sun charts",
        )
    kept = result.settings
    view = sun_view(site, kept).with_farm_steps()
    inputs_unchanged(site)
    return result, view


def _page(given: argparse.Namespace, found, cards: int, progress: Progress):
    """(page, studies)."""
    from tunnelsite.report.candidate_study import studied
    from tunnelsite.report.page import PageAsk, report_page
    from tunnelsite.screening.run_table import stamp

    result, sun = found
    ranks = range(1, min(cards, len(result.choices)) + 1)
    studies = []
    for rank in ranks:
        progress("studying candidates", (rank - 1) / len(ranks))
        studies.append(studied(result, rank, sun))
    if studies:
        progress("studying candidates", 1.0)
    progress("page", 0.0)
    title = given.title or f"Where a house may stand: {result.site.parcels.name}"
    return report_page(
        result, studies, PageAsk(title, given.client, stamp().replace("T", " ").replace("Z", " UTC"))
    ), studies


def _written(outputs: dict[str, Path], page: str, overwrite: bool, browser: str | None) -> dict[str, Any]:
    from tunnelsite.io.write.staging import write_whole

    if "pdf" in outputs:
        from tunnelsite.io.write.print_page import pdf_of

        write_whole(outputs["pdf"], pdf_of(page, browser), overwrite=overwrite)
    write_whole(outputs["page"], page, overwrite=overwrite)
    return {"outputs": {name: str(path) for name, path in outputs.items()}, "page_bytes": len(page.encode())}


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
