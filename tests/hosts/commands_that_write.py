"""Every command that writes files: how it is asked on a small farm, which files it writes, and what of it takes long.

What takes long is computed once and then given again, so that a command can be run some hundred times, each time with another
failure while it writes. Options, checks, locks and writers are the real ones in every run.
"""

from __future__ import annotations

import contextlib
import stat
from collections.abc import Callable, Iterator
from dataclasses import dataclass
from importlib import import_module
from pathlib import Path

import shapely

from tests.hosts.screened import HOUSE
from tests.whole_run.files import NORTH, UTM17, WEST, gentle, plain_farm, write_parcels
from tunnelsite.hosts.cli import screening as screening_command
from tunnelsite.hosts.cli.main import main
from tunnelsite.io.formats.geopackage import run_stamp, write_geopackage
from tunnelsite.io.read.stored import read_layers

QUICK = ("--house", HOUSE, "--azimuths", "8", "--halo", "5m", "--top", "2")
REGION = ("region", "dem.tif", "lots.gpkg", *QUICK[:-2], "--workers", "0", "--group-size", "0m", "--suitability", "10m")
SITES = ("dem.tif", "parcels.gpkg", "--sites", "s.gpkg", "--rank", "1")
HORIZON = "azimuth_deg,elevation_deg\n0,5\n90,10\n180,2\n270,1\n"
PROJECT = f'dem = "dem.tif"\nparcels = "parcels.gpkg"\nhouse = "{HOUSE}"\nazimuths = 8\nhalo = "5m"\ntop = 2\n'
# Does what is asked of a browser: writes a page to print.
BROWSER = """#!/bin/sh
for word in "$@"; do case "$word" in --print-to-pdf=*) printf '%%PDF-1.4\\n%%%%EOF\\n' > "${word#--print-to-pdf=}";; esac; done
"""
RASTERS = (
    "ground", "surface", "standing_m", "upslope_m2", "open_edge", "ponding_m", "flow_direction", "water_like",
    "raised", "worst_month", "noon_sun", "cold_pool_m", "drainage_height_m", "drainage_distance_m", "river_bed",
    "topographic_factor", "valley_depth_m", "beam_share", "beam_share_worst",
)  # fmt: skip
TWO = ("candidates", "run")  # what is exported: a layer with places, and a table


@dataclass(frozen=True)
class Command:
    """One command.

    Attributes:
        words: what is asked; `{out}` stands for the folder of the outputs. files: what it writes there. slow: functions, as
        `module:name`, whose results are kept from one run to the next.
    """

    words: tuple[str, ...]
    files: frozenset[str]
    slow: tuple[str, ...] = ()


def _files(*names: str) -> frozenset[str]:
    return frozenset(names)


def _exported() -> frozenset[str]:
    found = {f"{name}.{ending}" for ending in ("csv", "parquet") for name in TWO}
    found |= {f"{TWO[0]}.{ending}" for ending in ("geojson", "sld")}
    return frozenset(found | {"two.kml", "two.gpx", "two.dxf", "collection.json", "item.json"})


SCREENING = ("tunnelsite.io.read.site:site_from", "tunnelsite.screening.run:screen")
CANDIDATE = ("tunnelsite.plans.candidate:find_candidate",)
KEPT = ("tunnelsite.screening.kept_run:kept_run",)
PICTURES = ("tunnelsite.drawing.png:png_of",)
GRADING = "tunnelsite.plans.grading.grade:grading_map_svg", "tunnelsite.plans.grading.grade:profiles_svg"
CHART = ("tunnelsite.plans.sunchart.plan:sun_chart",)
TEXTS = ("world_layer", "geojson_text", "kml_text", "layers_gpx", "layers_dxf", "parquet_bytes")
HANDOVER = ("tunnelsite.io.formats.stac:_projection", *(f"tunnelsite.io.write.handover:{name}" for name in TEXTS))

COMMANDS = {
    "screen": Command(
        (
            "screen",
            "dem.tif",
            "parcels.gpkg",
            *QUICK,
            "--out",
            "{out}/a.gpkg",
            "--keep",
            "{out}/a.npz",
            "--rasters",
            "{out}",
        ),
        _files("a.gpkg", "a.npz", *(f"{name}.{ending}" for name in RASTERS for ending in ("tif", "sld"))),
        SCREENING,
    ),
    "demo": Command(("demo", "--out", "{out}/a.gpkg"), _files("a.gpkg"), SCREENING),
    "rescore": Command(("rescore", "k.npz", "--weight", "sun=2", "--out", "{out}/a.gpkg"), _files("a.gpkg"), KEPT),
    "robustness": Command(
        ("robustness", "k.npz", "--draws", "3", "--out", "{out}/a.gpkg"),
        _files("a.gpkg"),
        (
            *KEPT,
            "tunnelsite.scan.firmness.rank_shares:rank_shares",
            "tunnelsite.scan.firmness.elsewhere:best_everywhere",
        ),
    ),
    "sunchart": Command(
        (
            "sunchart",
            *SITES,
            "--halo",
            "5m",
            "--field-horizon",
            "h.csv",
            "--north",
            "true",
            "--out",
            "{out}/a.svg",
            "--png",
            "{out}/a.png",
            "--csv",
            "{out}/a.csv",
        ),
        _files("a.svg", "a.png", *(f"a-{name}.csv" for name in ("hidden", "hours", "horizon", "light", "field"))),
        (*CHART, *PICTURES),
    ),
    "stakeout": Command(
        (
            "stakeout",
            *SITES,
            *(w for end in ("csv", "gpx", "geojson", "dxf", "html", "gpkg") for w in ("--out", f"{{out}}/a.{end}")),
        ),
        _files("a.csv", "a.gpx", "a.geojson", "a.dxf", "a.html", "a.gpkg"),
        CANDIDATE,
    ),
    "grading": Command(
        ("grading", *SITES, "--draws", "20", "--png", "--out", "{out}/a.gpkg"),
        _files(
            "a.gpkg",
            "a-map.svg",
            "a-map.png",
            "a-profiles.svg",
            "a-profiles.png",
            "a-profiles.csv",
            "a-stations.csv",
            "a.json",
        ),
        (*CANDIDATE, "tunnelsite.plans.grading.grade:graded", *GRADING, *PICTURES),
    ),
    "cost": Command(
        ("cost", *SITES[:-2], "--price", "earthwork=12/yd3", "--draws", "20", "--out", "{out}/a.csv"),
        _files("a.csv", "a.json"),
        (SCREENING[0], "tunnelsite.plans.cost.plan:cost"),
    ),
    "layout": Command(
        (
            "layout",
            "dem.tif",
            "parcels.gpkg",
            *QUICK[:-2],
            "--houses",
            "2",
            "--service",
            "water=tap.gpkg",
            "--out",
            "{out}/a.gpkg",
        ),
        _files("a.gpkg", "a.svg"),
        (
            SCREENING[0],
            "tunnelsite.plans.layout.plan:screen",
            "tunnelsite.plans.layout.plan:compact_block",
            "tunnelsite.plans.layout.plan:service_trenches",
            "tunnelsite.plans.layout.plan:layout_picture",
        ),
    ),
    "report": Command(
        (
            "report",
            "--run",
            "k.npz",
            "--cards",
            "0",
            "--out",
            "{out}/a.html",
            "--pdf",
            "{out}/a.pdf",
            "--browser",
            "./browser",
        ),
        _files("a.html", "a.pdf"),
        (
            "tunnelsite.hosts.cli.report:_kept",
            "tunnelsite.hosts.cli.report:_page",
            "tunnelsite.io.write.print_page:pdf_of",
        ),
    ),
    "region": Command(
        (
            *REGION,
            "--parquet",
            "--out",
            "{out}/a.gpkg",
            "--parts",
            "{out}/parts",
        ),
        _files(
            "a.gpkg",
            "a-manifest.json",
            "a-suitability.tif",
            "a-suitability.sld",
            "a-candidates.parquet",
            "a-parcels.parquet",
        ),
        (
            "tunnelsite.region.inputs:read_region",
            "tunnelsite.region.running:run_task",
            "tunnelsite.region.screened:planned",
            "tunnelsite.region.screened:version_rows",
        ),
    ),
    "export": Command(
        (
            "export",
            "two.gpkg",
            "--to",
            "{out}",
            "--as",
            "geojson,kml,gpx,csv,dxf,geoparquet,sld,stac",
            "--rasters",
            "layers",
        ),
        _exported(),
        ("tunnelsite.io.read.stored:read_layers", *HANDOVER),
    ),
    "run": Command(("run", "slope", "dem.tif", "{out}/a.tif"), _files("a.tif")),
}
# Commands that only answer, on standard output; `serve` keeps its files to itself (tests/hosts/server/test_server.py).
ANSWERS = {
    "check": ("check", "dem.tif", "parcels.gpkg", *QUICK),
    "explain": ("explain", "dem.tif", "parcels.gpkg", *QUICK, "--rank", "1", "--json"),
    "compare": ("compare", "s.gpkg", "s.gpkg", "--json"),
    "processes": ("processes",),
    "describe": ("describe", "--json"),
    "robustness": ("robustness", "k.npz", "--draws", "2", "--json"),
    "screen": (
        "screen",
        "dem.tif",
        "parcels.gpkg",
        *QUICK,
        "--out",
        "{out}/a.gpkg",
        "--rasters",
        "{out}/new",
        "--dry-run",
    ),
    "region": ("region", "dem.tif", "lots.gpkg", *QUICK[:-2], "--out", "{out}/a.gpkg", "--dry-run", "--json"),
}


def small_farm(folder: Path) -> None:
    """A field with everything that the commands read, in a folder; a screening of it with all that it can write."""
    plain_farm(folder, gentle(60, 70))
    lots = [shapely.box(WEST + west, NORTH - 56, WEST + west + 28, NORTH - 4) for west in (4, 36)]
    write_parcels(folder / "lots.gpkg", lots, UTM17)
    write_parcels(folder / "tap.gpkg", [shapely.Point(WEST + 6.5, NORTH - 6.5)], UTM17, what=["tap"])
    for name, text in (("farm.toml", PROJECT), ("h.csv", HORIZON), ("browser", BROWSER)):
        (folder / name).write_text(text)
    (folder / "browser").chmod(stat.S_IRWXU)
    words = ["--out", "s.gpkg", "--keep", "k.npz", "--rasters", "layers", "-q"]
    with contextlib.chdir(folder):
        assert main(["screen", "dem.tif", "parcels.gpkg", *QUICK, *words]) == 0
        stored = read_layers("s.gpkg")
        some = {name: stored.tables[name] for name in TWO}
        words = {"lineage_xml": "<a/>", "cautions": stored.cautions, "stamp": run_stamp(), "overwrite": False}
        write_geopackage("two.gpkg", some, crs=stored.crs, styles={TWO[0]: stored.styles[TWO[0]]}, **words)


class Kept:
    """Results of functions by the order of their calls: computed in the first run, given again in those that follow."""

    def __init__(self) -> None:
        self.results: dict[str, list[object]] = {}

    @contextlib.contextmanager
    def given_again(self, names: tuple[str, ...], monkeypatch) -> Iterator[None]:
        """For the length of one run. Arguments: names, as `module:name`."""
        with monkeypatch.context() as patch:
            for name in names:
                module, _, attribute = name.partition(":")
                found = import_module(module)
                patch.setattr(found, attribute, self._again(name, getattr(found, attribute)))
            yield

    def _again(self, name: str, compute: Callable) -> Callable:
        results, calls = self.results.setdefault(name, []), iter(range(10**6))

        def again(*arguments, **options):
            number = next(calls)
            if number == len(results):
                results.append(compute(*arguments, **options))
            return results[number]

        return again


@dataclass
class Runner:
    """Runs one command in the folder of the small farm, with its outputs in a folder of their own."""

    farm: Path
    kept: Kept
    monkeypatch: object

    def run(self, command: Command | tuple[str, ...], out: Path, *more: str) -> int:
        """The exit status."""
        words, slow = (command.words, command.slow) if isinstance(command, Command) else (command, ())
        words = [word.replace("{out}", str(out)) for word in words]
        with self.kept.given_again(slow, self.monkeypatch), contextlib.chdir(self.farm):
            self.monkeypatch.setattr(screening_command, "sample_data", lambda: self.farm)
            return main([*words, *more, *(["-q"] if words[0] not in ("processes", "describe") else [])])
