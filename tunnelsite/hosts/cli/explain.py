"""`explain`: why a candidate ranks where it does, or why a place is not offered."""

from __future__ import annotations

import argparse
from typing import TYPE_CHECKING

from tunnelsite.core.errors import UsageError
from tunnelsite.core.units import number
from tunnelsite.hosts.cli.progress import Progress
from tunnelsite.hosts.cli.project_values import check_screened, project_values
from tunnelsite.hosts.cli.streams import answer, say

if TYPE_CHECKING:
    from tunnelsite.core.site import Site
    from tunnelsite.settings.model import Settings


def explain(given: argparse.Namespace) -> int:
    """Screen with the same options and explain one candidate or one place (for every house and bearing)."""
    if (given.at is None) == (given.rank is None):
        raise UsageError(
            "explain was given neither or both of --at and --rank", "--at LON LAT or --rank N", "give one of them"
        )
    place = None if given.at is None else tuple(number(text, "--at") for text in given.at)
    from tunnelsite.decisions.explain import explain as explained
    from tunnelsite.decisions.explain import explain_everywhere
    from tunnelsite.decisions.explanation import summary_of
    from tunnelsite.io.read.site import site_from
    from tunnelsite.io.read.sites_file import check_ranks
    from tunnelsite.screening.run import screen
    from tunnelsite.settings.model import settings_from

    settings = settings_from(project_values(given))
    if given.rank is not None and given.sites is not None:
        check_ranks(given.sites, [given.rank])
    site = site_from(settings)
    check_screened(given, site)
    if place is not None:
        _check_place(site, settings, place)
    result = screen(site, settings=settings, progress=Progress(quiet=given.quiet))
    found = [explained(result, given.rank)] if place is None else explain_everywhere(result, *place)
    if given.json:
        answer(summary_of(found), str, as_json=True)
        return 0
    say(*(f"DOUBT: {text}" for text in found[0].doubts))
    say(*(f"LEFT OUT: {text}; marks and ranks here are without it" for text in found[0].left_out))
    answer(found, lambda told: "\n\n".join(item.words() for item in told), as_json=False)
    standing = found[0].standing
    say(*(standing.words() if standing is not None else ()))
    return 0


def _check_place(site: Site, settings: Settings, place: tuple[float, ...]) -> None:
    """Errors: UsageError for a place outside the land that would be screened, before it is."""
    from tunnelsite.decisions.explain import check_degrees
    from tunnelsite.scan.localise import frame_grid
    from tunnelsite.scan.spot import cell_on

    check_degrees(*place)
    for bearing in settings.bearings:
        cell_on(frame_grid(site, bearing_deg=bearing, cell_m=settings.cell_m, halo_m=settings.halo_m), *place)
