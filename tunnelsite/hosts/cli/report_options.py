"""Options of `report` beyond those of a screening."""

from __future__ import annotations

import argparse

from tunnelsite.report.settings import CARDS, CLIENT_CARDS


def add_options(command: argparse.ArgumentParser) -> None:
    """What `report` is told beyond the options of a screening; its inputs come first."""
    command.add_argument("--out", default="report.html", metavar="FILE", help="page to write (default report.html)")
    text = "a run kept with `screen --keep`, instead of screening; its inputs (--project) give the sun charts"
    command.add_argument("--run", metavar="FILE", help=text)
    command.add_argument("--client", action="store_true", help="the short version, to hand over")
    text = f"candidates that get a card of their own, best first (default {CARDS}, {CLIENT_CARDS} for the client)"
    command.add_argument("--cards", metavar="NUMBER", help=text)
    command.add_argument("--title", metavar="TEXT", help="heading of the page (default: the parcels' file)")
    command.add_argument("--pdf", metavar="FILE", help="the page as PDF too, printed by a Chromium browser")
    text = "the browser that prints it (default: TUNNELSITE_BROWSER, or the first found on the path)"
    command.add_argument("--browser", metavar="PROGRAM", help=text)
