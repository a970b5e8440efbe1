"""One small farm whose parcels bear hostile names, screened once, as full and as client page."""

from __future__ import annotations

from dataclasses import dataclass
from pathlib import Path

import numpy as np
import pytest
import shapely
from rasterio.transform import Affine

from tests.whole_run.files import NORTH, UTM17, WEST, gentle, write_dem, write_parcels
from tunnelsite import read_site, screen
from tunnelsite.plans.sunchart.view import sun_view
from tunnelsite.report import candidate_study
from tunnelsite.report.candidate_study import Study, studied
from tunnelsite.report.page import PageAsk, report_page
from tunnelsite.screening.result import Result
from tunnelsite.settings.model import settings_from

FEW_DRAWS = 20  # go through the code of many; how wide they spread: tests/plans/grading
HOSTILE = "</script><img src=x onerror=document.title='owned'>"
TURNED = "safe\u202egnp.exe\u202c end"
LONG = "L" * 3000
HOSTILE_FILE = "wet <b onclick=x>.gpkg"


@dataclass(frozen=True)
class Report:
    """A screened farm and its pages: result; studies; full and client, HTML; paths of both."""

    result: Result
    studies: list[Study]
    full: str
    client: str
    full_path: Path
    client_path: Path


@pytest.fixture(scope="session")
def hostile(tmp_path_factory) -> Report:
    """The farm: three strips, one of them bumpy; a tree line in the south; water at a corner."""
    folder = tmp_path_factory.mktemp("report")
    heights = gentle(90, 110)
    heights[60:80, 20:60] += np.random.default_rng(5).normal(0, 0.2, (20, 40)).astype(np.float32)
    dem = write_dem(folder / "dem.tif", heights, Affine(1, 0, WEST, 0, -1, NORTH), UTM17)
    strips = [shapely.box(WEST + 4, NORTH - 30 * k - 28, WEST + 106, NORTH - 30 * k - 2) for k in range(3)]
    parcels = write_parcels(folder / "parcels.gpkg", strips, UTM17, parcel=[HOSTILE, TURNED, LONG])
    tap = [shapely.Point(WEST + 5, NORTH - 5)]
    water = write_parcels(folder / "tap.gpkg", tap, UTM17, name=["tap"])
    wet = [shapely.box(WEST + 80, NORTH - 20, WEST + 95, NORTH - 10)]
    wetland = write_parcels(folder / "wet.gpkg", wet, UTM17, name=["wet"]).rename(folder / HOSTILE_FILE)
    trees = [shapely.LineString([(WEST + 10, NORTH - 89), (WEST + 60, NORTH - 89)])]
    obstacles = write_parcels(folder / "trees.gpkg", trees, UTM17, height_m=[9.0], what=["<i>hedge</i>"])
    house = {
        "house": ["20x50ft"],
        "top": 8,
        "azimuths": 16,
        "draws": FEW_DRAWS,
        "crop_months": "10-01:04-30",
        "setback": "3m",
    }
    settings = settings_from({**house, "weight": {"noon": 0.0}})
    site = read_site(
        str(dem), str(parcels), obstacles=str(obstacles), keep_out=[str(wetland)], services={"water": str(water)}
    )
    result = screen(site, settings=settings)
    sun = sun_view(site, settings, result.frame).with_farm_steps()
    with pytest.MonkeyPatch.context() as patch:
        patch.setattr(candidate_study, "DRAWS", FEW_DRAWS)
        studies = [studied(result, rank, sun) for rank in (1, 2)]
    pages = [
        report_page(result, studies, PageAsk(f"Farm {HOSTILE}", client, "2026-11-25 12:00:00 UTC"))
        for client in (False, True)
    ]
    paths = [folder / "full.html", folder / "client.html"]
    for path, page in zip(paths, pages, strict=True):
        path.write_text(page, "utf-8")
    return Report(result, studies, *pages, *paths)
