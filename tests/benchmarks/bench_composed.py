"""The whole job against the same job composed from general-purpose libraries: `python -m tests.benchmarks.bench_composed [side]`.

Both sides start from files (DEM, parcels, trees), have slope and aspect, filled ground, contributing area, light, cold air and distances,
measure and judge every placement of one in-ground house, score those that pass, there and over shifts, and end with a file of the best
that stand apart. The peer is `composed_job`. What it leaves out or does more simply is the less work for it:

* no water-like patches, raised ground or lone things, no cut channels, entering valleys or cut-off beds, no height above drainage, no hilltops;
* the sun every 10 minutes of the 16th of each crop month, ours every 10 minutes of each crop day: the share of light in the darkest month
  is then off by 0.013 to 0.015 at 95 % of houses (next to suns of every fourth day, or of three days a month, on 600 and 420 cells a side),
  ours from 36 directions by 0.010 (next to 360). With every 30 minutes it is off by 0.030 to 0.033: a figure of its own says what that
  would save. Shadows fall on whole cells of the surface, not on eyes 1 m above the ground;
* one fill, with its tiny slope on flats, for flow and ponding alike; what flows in a deep bed beside a pad counts as well;
* of errors only those of the elevations, not the ground that cells hide; expected marks of the pitch alone, with the error of one slope,
  and cuts as measured;
* boundaries to a cell; no nudging, no count of rejections or near misses, no exact check and no description of the candidates, no
  tables but that of the candidates;
* the cells' grid, the suns and every constant are ours and are not timed.

Another job would be easy to compare with, so the answers are compared first, and the run stops where they differ by more than their methods
do. Each side runs in processes of its own, in turn, after a small farm that loads its kernels; the least of the rounds counts.
"""

from __future__ import annotations

import importlib.util
import json
import subprocess
import sys
import tempfile
import time
from pathlib import Path

import geopandas
import numpy as np
import rasterio
from affine import Affine

from tests.benchmarks.bench_screening import made_site, peak_bytes, resident_bytes
from tests.benchmarks.table import Figure, show
from tunnelsite import House, read_site, screen
from tunnelsite.core.elevation_error import LIDAR_SD_M, RANGE_M
from tunnelsite.core.house import Pad
from tunnelsite.core.units import MONTH_DAYS, days_of
from tunnelsite.kernels.disc_mean import disc_weights
from tunnelsite.kernels.terrain.blade import error_ripple
from tunnelsite.kernels.terrain.plane_error import second_difference_variance, slope_error
from tunnelsite.kernels.terrain.slope import slope_aspect
from tunnelsite.processes.noon_sun import noon_sun
from tunnelsite.scan.combine import filled_marks
from tunnelsite.scan.localise import frame_grid
from tunnelsite.scan.marks import marks_of
from tunnelsite.scan.steady import steady_scores
from tunnelsite.screening.judges import judges_of
from tunnelsite.screening.result import Result
from tunnelsite.settings.model import Settings, crop_period, settings_from
from tunnelsite.sun.irradiance import SunSteps, clear_sky_steps
from tunnelsite.sun.position import Observer

NEEDED = ("xrspatial", "insolation")
SMALL, ROUNDS = 260, 2
CROPS = "10-01:04-30"
HOUSE = House.parse("30x96ft")
MIDDLES = [16 + sum(MONTH_DAYS[:month]) for month in range(12)]
JUDGED = ("standing", "pitch", "roughness", "crown", "drainage", "ponding", "drainage_distance", "flow_beside", "sun", "season_sun",
          "noon", "cold_air", "low_ground", "snow_room", "deepest_cut", "earthwork")  # fmt: skip
SAID = ("passed", "pitch", "sun", "deepest", "score")
# Measure of the peer against ours at the placements that both let pass: so many in a hundred, and how near they have to be.
NEAR = {
    "standing": (99, 0.01),
    "pitch": (99, 1e-3),
    "roughness": (99, 1e-4),
    "crown": (99, 1e-4),
    "ponding": (95, 0.002),
    "sun": (95, 0.05),
    "season_sun": (95, 0.03),
    "noon": (95, 0.02),
    "cold_air": (95, 0.02),
    "low_ground": (95, 0.01),
    "snow_room": (95, 0.05),
    "deepest_cut": (95, 0.001),
    "earthwork": (95, 0.001),
}


def write_farm(folder: Path, side: int) -> None:
    """The made farm as files: dem.tif, parcels.gpkg, obstacles.gpkg."""
    site = made_site(side)
    profile = {"driver": "GTiff", "width": side, "height": side, "count": 1, "dtype": "float32"}
    with rasterio.open(
        folder / "dem.tif", "w", **profile, crs=site.dem.crs.to_wkt(), transform=Affine(*site.dem.affine)
    ) as dem:
        dem.write(site.dem.values + np.float32(site.dem.datum_m), 1)
    for name, features in (("parcels", site.parcels), ("obstacles", site.obstacles)):
        columns = {key: values.astype(float) for key, values in features.columns.items()}
        geopandas.GeoDataFrame(columns, geometry=features.geometry, crs=features.crs).to_file(folder / f"{name}.gpkg")


def farm(folder: Path):
    """The site of a farm's files."""
    return read_site(folder / "dem.tif", folder / "parcels.gpkg", obstacles=folder / "obstacles.gpkg")


def ours(folder: Path, settings: Settings) -> Result:
    """Our side of the job: the whole screening and its file, and slope and aspect, which it does not need by itself."""
    result = screen(farm(folder), HOUSE, settings=settings)
    slope_aspect(result.frame.ground, result.frame.grid.cell_m)
    result.write(folder / "ours.gpkg", overwrite=True)
    return result


def asked_of(folder: Path, settings: Settings):
    """What the peer is asked, as ours would see it."""
    from tests.benchmarks.composed_job import Asked, Errors

    site = farm(folder)
    grid = frame_grid(site, bearing_deg=90.0, cell_m=None, halo_m=settings.halo_m)
    lon, lat = (float(value) for value in grid.lonlat(0.0, 0.0))
    crops = set(days_of(crop_period(CROPS)))
    place, days = Observer(lat, lon, site.dem.datum_m), [day for day in MIDDLES if day in crops]
    fine, coarse = (_suns(clear_sky_steps(place, minutes, days)) for minutes in (10, 30))
    between = fine[~np.isin(fine[:, 0], coarse[:, 0])]
    coarse = np.vstack([(*noon_sun(lat), 1.0, 0), fine[np.isin(fine[:, 0], coarse[:, 0])]])
    pad, cell = Pad.around(HOUSE, settings.apron_m), grid.cell_m
    lag = round(RANGE_M / cell)
    errors = Errors(
        sd_m=LIDAR_SD_M,
        lag=lag,
        reach=2 * lag,
        bend=second_difference_variance(lag * cell, RANGE_M),
        slopes=slope_error(HOUSE.length_m, HOUSE.width_m, cell, LIDAR_SD_M, RANGE_M),
        ripple=error_ripple(pad.length_m, pad.width_m, cell, RANGE_M).counted,
    )
    rubrics = {judge.id: judge.rubric for judge in judges_of(site, settings, HOUSE.kind, print)}
    disc = disc_weights(settings.shift_m / cell)
    return Asked(
        grid,
        HOUSE,
        pad,
        rubrics,
        np.vstack([coarse, between]),
        len(coarse),
        errors,
        settings.pad_pitch,
        disc,
        HOUSE.length_m,
        settings.top,
    )


def _suns(steps: SunSteps) -> np.ndarray:
    return np.column_stack([steps.azimuth_deg, steps.elevation_deg, steps.beam_wh, steps.month])


def run(who: str, small: str, large: str) -> dict:
    """One side of the job in this process: seconds, processor time, bytes over the start, both times
    by step. Its answer goes into a file."""
    settings = settings_from({"crop_months": CROPS, "azimuths": 36, "halo": "5m"})
    if who == "ours":
        job, farms = ours, dict.fromkeys((small, large), settings)
    else:
        from tests.benchmarks.composed_job import composed as job

        farms = {folder: asked_of(Path(folder), settings) for folder in (small, large)}
    job(Path(small), farms[small])  # compile or load the kernels
    before = resident_bytes()
    start = time.perf_counter(), time.process_time()
    done = job(Path(large), farms[large])
    spent, busy = time.perf_counter() - start[0], time.process_time() - start[1]
    taken = peak_bytes() - before
    np.savez(Path(large, who), **(our_answer(done) if who == "ours" else their_answer(done)))
    return {
        "seconds": spent,
        "busy": busy,
        "bytes": taken,
        "steps": getattr(done, "spent", {}),
    }


def our_answer(result: Result) -> dict[str, np.ndarray]:
    """Measures of the placements that passed, by their cell, and the score of what both sides judge."""
    scan = result.scans[0]
    judges = [judge for judge in result.judges if judge.id in JUDGED]
    weights = np.array([judge.rubric.weight for judge in judges])
    marks = np.stack([marks_of(scan, judge, slice(None)) for judge in judges])
    here = 100 * weights @ filled_marks(marks) / weights.sum()
    fits = np.flatnonzero(scan.ground.owner >= 0)
    score = steady_scores(scan, here, result.settings.shift_m)
    return {
        "index": scan.index,
        "fits": fits,
        "score": score,
        **{name: scan.measures[name] for name in JUDGED},
    }


def their_answer(done) -> dict[str, np.ndarray]:
    """The same of the peer."""
    index = np.flatnonzero(done.passed)
    measures = {name: values.flat[index] for name, values in done.measures.items()}
    return {"index": index, "fits": np.flatnonzero(done.fits), "score": done.score.flat[index], **measures}


def agree(mine, peer) -> list[str]:
    """How far the two answers are apart, in words. Errors: AssertionError where it is not the same job."""
    said = []

    def held(what: str, value: float, most: float) -> None:
        said.append(f"{what} {value:.2g}")
        if not value <= most:
            raise AssertionError(f"{what}: {value:.3g}, at most {most:g}")

    for what, name, most in (("feasible", "fits", 0.03), ("passed", "index", 0.06)):
        both = len(np.intersect1d(mine[name], peer[name]))
        held(f"{what}: share of either alone", 1 - both / len(np.union1d(mine[name], peer[name])), most)
        held(f"{what}: difference of counts", abs(len(peer[name]) / len(mine[name]) - 1), most / 2)
    _, ours_at, peers_at = np.intersect1d(mine["index"], peer["index"], return_indices=True)
    for name, (share, most) in NEAR.items():
        away = np.abs(mine[name][ours_at] - peer[name][peers_at])
        held(f"{name}, {share} % within", float(np.nanpercentile(away, share)), most)
    # richdem's D8 goes to the lowest neighbour, ours down the steepest way; both cross the same hollows another way
    drains = [np.log(values) for values in (mine["drainage"][ours_at], peer["drainage"][peers_at])]
    held("drainage, half within a factor of", float(np.exp(np.median(np.abs(drains[0] - drains[1])))), 1.5)
    scores = mine["score"][ours_at], peer["score"][peers_at]
    held("score, 90 % within", float(np.percentile(np.abs(scores[0] - scores[1]), 90)), 5.0)
    held("score, 1 - correlation", float(1 - np.corrcoef(*scores)[0, 1]), 0.1)
    return said


def figures(side: int = 2000, rounds: int = ROUNDS) -> list[Figure]:
    """Time of either side, wall and processor, and memory, as ratios. Nothing where a library of the peer is missing."""
    missing = [name for name in NEEDED if importlib.util.find_spec(name) is None]
    if missing:
        print(f"the composed job is not run: {', '.join(missing)} not installed")
        return []
    took: dict[str, list[dict]] = {"ours": [], "peer": []}
    with tempfile.TemporaryDirectory() as place:
        folders = {size: Path(place, str(size)) for size in (SMALL, side)}
        for size, folder in folders.items():
            folder.mkdir()
            write_farm(folder, size)
        for who in ("ours", "peer") * rounds:
            took[who].append(_apart(who, *map(str, folders.values())))
        said = agree(*(dict(np.load(folders[side] / f"{who}.npz")) for who in took))
    return _ratios(took, f"whole job at {side} x {side}, in-ground: composed of libraries / ours", said)


def _ratios(took: dict[str, list[dict]], what: str, said: list[str]) -> list[Figure]:
    """Figures of the least that each side took. Arguments: runs of ours and of the peer; what was done; how far apart the answers are."""
    found = []
    for number, (key, more, goal) in enumerate((("seconds", "", 10.0), ("busy", ", processor time", None))):
        ours = min(run[key] for run in took["ours"])
        peer = min(took["peer"], key=lambda run: run[key])
        steps = {name: spent[number] for name, spent in peer["steps"].items()}
        parts = ", ".join(f"{name} {spent:.1f}" for name, spent in sorted(steps.items(), key=lambda step: -step[1]))
        fewer = peer[key] - steps["light of the suns between"]
        found += [
            Figure(
                what + more,
                peer[key] / ours,
                goal,
                detail=f"{peer[key]:.1f} against {ours:.1f} s; the peer's: {parts} s",
            ),
            Figure(f"the same with suns every 30 minutes{more}", fewer / ours, detail=f"{fewer:.1f} s"),
        ]
    held = [min(run["bytes"] for run in runs) / 1e6 for runs in took.values()]
    alike = "; ".join(text for text in said if text.startswith(SAID))
    found.append(
        Figure(f"{what}, memory", held[1] / held[0], detail=f"{held[1]:.0f} against {held[0]:.0f} MB; {alike}")
    )
    return found


def _apart(who: str, small: str, large: str) -> dict:
    """One side in a process of its own."""
    call = f"import json; from tests.benchmarks.bench_composed import run; print(json.dumps(run({who!r}, {small!r}, {large!r})))"
    done = subprocess.run([sys.executable, "-c", call], check=True, stdout=subprocess.PIPE, text=True)
    return json.loads(done.stdout.splitlines()[-1])


if __name__ == "__main__":
    show(figures(*(int(text) for text in sys.argv[1:3])))
