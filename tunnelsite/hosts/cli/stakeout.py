"""`stakeout`: the sheets a crew takes to the field for one candidate, and the plan again from what it levelled there."""

from __future__ import annotations

import argparse
from dataclasses import replace
from pathlib import Path
from typing import TYPE_CHECKING, Any

from tunnelsite.core.errors import UsageError
from tunnelsite.hosts.cli.arguments import check_ending
from tunnelsite.hosts.cli.inputs_named import inputs_named
from tunnelsite.hosts.cli.progress import Progress
from tunnelsite.hosts.cli.project_values import check_screened, project_values
from tunnelsite.hosts.cli.setting_options import settings_asked
from tunnelsite.hosts.cli.streams import answer

if TYPE_CHECKING:
    from tunnelsite.plans.stakeout.settings import StakeOutSettings

DEFAULT_OUT = "stakes.csv"
ENDINGS = (".csv", ".gpx", ".geojson", ".dxf", ".html", ".gpkg")
NEAR_M = 100.0  # land round the parcels that a sheet needs
OWN_OUTPUTS = ("out", "overwrite", "rasters", "keep")  # of the screening, not of what follows
LOOK = (
    "Have buried lines located and marked before any stake or post is driven; look up for overhead lines; local "
    "codes and the maker's drawings rule."
)


def stakeout(given: argparse.Namespace) -> int:
    """Write the stake-out sheets of one candidate."""
    from tunnelsite.io.formats.stake_sheets import write_stake_sheet
    from tunnelsite.io.read.site import inputs_unchanged
    from tunnelsite.io.write.outputs import reserved_outputs
    from tunnelsite.plans.candidate import find_candidate
    from tunnelsite.plans.stakeout.settings import StakeOutSettings
    from tunnelsite.settings.model import settings_from

    everything = project_values(given)
    settings_from(without_outputs(everything))  # wrong settings are refused before anything is read
    values = ground_only(everything, also=("keep_out", "structures"), keep=("service",))
    sites, rank = asked_candidate(given)
    asked, outputs = settings_asked(given, StakeOutSettings), _outputs(given)
    progress = Progress(quiet=given.quiet)
    named = {f"output {k}": path for k, path in enumerate(outputs, 1)}
    if given.phone is not None:
        named["phone"] = Path(given.phone)
        check_ending("--phone", named["phone"], ".html", ".htm")
    with reserved_outputs(named, inputs_named(given, everything), overwrite=bool(given.overwrite)):
        from tunnelsite.plans.stakeout.plan import stake_out_of, summary_lines

        progress("reading", 0.0)
        found = find_candidate(values, sites, rank, near_m=NEAR_M)
        check_screened(given, found.site)
        if given.title:
            found = replace(found, placement=replace(found.placement, title=given.title))
        plan = stake_out_of(found, _read(asked, given), progress)
        inputs_unchanged(found.site)
        for path in outputs:
            if path.suffix.lower() == ".gpkg":
                plan.write_to({"layers": path}, overwrite=bool(given.overwrite))
            else:
                write_stake_sheet(path, plan.detail.sheet, overwrite=bool(given.overwrite))
        if "phone" in named:
            plan.write_to({"phone": named["phone"]}, overwrite=bool(given.overwrite))
        progress("writing", 1.0)
    summary = plan.summary | {"outputs": [str(path) for path in named.values()]}
    feet = plan.detail.sheet.feet

    def words(told: dict[str, Any]) -> str:
        written = [f"written: {path}" for path in told["outputs"]]
        return "\n".join([*summary_lines(told, feet=feet), *written, LOOK])

    answer(summary, words, as_json=given.json)
    return 0


def _read(asked: StakeOutSettings, given: argparse.Namespace) -> StakeOutSettings:
    """The same with what its files hold. Errors: InputRefused."""
    from tunnelsite.io.read.level_books import read_level_book, read_planned_pad

    if given.level_book is not None:
        asked = replace(asked, level_book=read_level_book(given.level_book))
    return asked if given.grading is None else replace(asked, grading=read_planned_pad(given.grading))


def asked_candidate(given: argparse.Namespace) -> tuple[str, int]:
    """(GeoPackage, rank) that were asked for. Errors: UsageError."""
    if given.sites is None or given.rank is None:
        missing = " and ".join(f"--{name}" for name in ("sites", "rank") if getattr(given, name) is None)
        raise UsageError(f"{missing} is missing", "a screening and a rank", "give sites.gpkg --rank 1")
    if given.rank < 1:
        raise UsageError(f"--rank is {given.rank}", "1 or more", "correct it")
    return given.sites, given.rank


def without_outputs(values: dict[str, Any]) -> dict[str, Any]:
    """Settings without the outputs of a screening, whose names these commands use for their own."""
    return {name: value for name, value in values.items() if name not in OWN_OUTPUTS}


def ground_only(values: dict[str, Any], also: tuple[str, ...] = (), keep: tuple[str, ...] = ()) -> dict[str, Any]:
    """Settings without the inputs that neither stakes nor earth depend on, nor `also` those named, but with those to `keep`."""
    unused = ("surface", "obstacles", "lamps", "soils", "weather", "wind", "wind_from", "service", *also)
    return {name: value for name, value in without_outputs(values).items() if name not in unused or name in keep}


def _outputs(given: argparse.Namespace) -> list[Path]:
    outputs = [Path(text) for text in given.out or [DEFAULT_OUT]]
    for path in outputs:
        check_ending("--out", path, *ENDINGS)
        if path.suffix.lower() == ".dxf":
            import importlib.util

            if importlib.util.find_spec("ezdxf") is None:
                raise UsageError(f"--out is {path} and ezdxf is not installed", "the extra `dxf`", "install it")
    if len({path.resolve() for path in outputs}) < len(outputs):
        raise UsageError("--out names the same file twice", "different files", "leave one out")
    return outputs
