"""The whole screening against the same job composed from general-purpose libraries: `python -m tests.benchmarks.bench_whole_job [side]`.

Both start from the same site in memory and end with layers, feasible placements, measures, limits and scores. The peer (`composed_job`)
leaves out what a screening does besides: water-like ground, lower bounds of the contributing area, horizons beyond 200 m, ranking without
overlap, the exact check of each candidate and its description. It would be easy to compare with another job, so the results
are compared first: the run stops where they differ by more than their methods do.
"""

from __future__ import annotations

import sys
import time

import numpy as np

from tests.benchmarks.bench_screening import made_site
from tests.benchmarks.composed_job import Composed, composed
from tests.benchmarks.table import Figure, show
from tunnelsite import House, screen
from tunnelsite.core.units import days_of
from tunnelsite.kernels.terrain.slope import slope_aspect
from tunnelsite.settings.model import crop_period, settings_from
from tunnelsite.sun.position import month_of

# Measure of the peer against ours at the placements that passed: share of them, and how near they have to be.
NEAR = {
    "standing": (99, 0.01),
    "pitch": (99, 1e-4),
    "roughness": (99, 1e-5),
    "crown": (99, 1e-5),
    "ponding": (95, 0.001),
    "season_sun": (95, 0.03),
    "noon": (95, 0.05),
    "cold_air": (95, 0.02),
    "snow_room": (95, 0.01),
    "deepest_cut": (95, 1e-4),
    "earthwork": (95, 1e-4),
}
SAID = ("pitch", "earthwork", "sun", "drainage", "score")
# Quoted, not run: seconds a direction at 2000 x 2000 of a library that casts the shadow of one sun.
QUOTED_SHADOW_S = 0.098


def ours(farm, settings):
    """Our side of the job: the whole screening, and slope and aspect, which it does not need by itself."""
    start = time.perf_counter(), time.process_time()
    result = screen(farm, House.parse("30x96ft"), settings=settings)
    _ = result.rows
    layers = dict(
        zip(("slope", "aspect"), slope_aspect(result.frame.ground, result.frame.grid.cell_m)[:2], strict=True)
    )
    return (time.perf_counter() - start[0], time.process_time() - start[1]), result, layers


def agree(result, layers: dict, peer: Composed) -> list[str]:
    """How far the two answers are apart, in words. Errors: AssertionError where it is not the same job."""
    scan, said = result.scans[0], []
    place = np.unravel_index(scan.index, result.frame.grid.shape)

    def held(what: str, value: float, most: float) -> None:
        assert value <= most, f"{what}: {value:.3g}, at most {most:g}"
        said.append(f"{what} {value:.2g}")

    slopes = np.abs(layers["slope"] - peer.layers["slope"])[5:-5, 5:-5]
    held("slope, 99 % within", float(np.nanpercentile(slopes, 99)), 0.005)
    for name, (share, most) in NEAR.items():
        away = np.abs(scan.measures[name] - peer.measures[name][place])
        held(f"{name}, {share} % within", float(np.nanpercentile(away, share)), most)
    # richdem's D8 goes to the lowest neighbour, ours down the steepest way; both cross the same hollows another way
    drains = [np.log(values) for values in (scan.measures["drainage"], peer.measures["drainage"][place])]
    held("drainage, half within a factor of", float(np.exp(np.median(np.abs(drains[0] - drains[1])))), 1.5)
    held("drainage, 1 - correlation of logarithms", float(1 - np.corrcoef(*drains)[0, 1]), 0.25)
    fits = scan.ground.owner >= 0
    held("feasible, share apart", float((fits ^ peer.fits).sum() / (fits | peer.fits).sum()), 0.03)
    score = result.scored[0]
    known = np.isfinite(peer.score[place])
    held("rejected by the peer alone", float(1 - known.mean()), 0.05)
    held("passed by the peer alone", float(1 - known.sum() / np.isfinite(peer.score).sum()), 0.05)
    held("score, 90 % within", float(np.percentile(np.abs(score - peer.score[place])[known], 90)), 5.0)
    held("score, 1 - correlation", float(1 - np.corrcoef(score[known], peer.score[place][known])[0, 1]), 0.1)
    return said


def figures(side: int = 2000, azimuths: int = 36) -> list[Figure]:
    """One run of each, ours after a small one that loads the kernels."""
    months = "10-01:04-30"
    settings = settings_from({"crop_months": months, "azimuths": azimuths, "halo": "5m", "kind": "container"})
    farm = made_site(side)
    ours(made_site(200), settings)
    (spent, busy), result, layers = min((ours(farm, settings) for _ in range(2)), key=lambda run: run[0])
    rubrics = {judge.id: judge.rubric for judge in result.judges if judge.id != "water_like"}
    scan = result.scans[0]
    inside = tuple(np.unique(month_of(np.array(days_of(crop_period(months))))).tolist())
    before = time.process_time()
    peer = composed(farm, result.frame.grid, (scan.house, scan.pad), rubrics, inside, azimuths, settings.pad_pitch)
    ratio_busy = (time.process_time() - before) / busy
    said = agree(result, layers, peer)
    whole = sum(peer.seconds.values())
    parts = sorted(peer.seconds.items(), key=lambda one: -one[1])[:6]
    detail = (
        f"{whole:.1f} against {spent:.1f} s; ratio of processor time {ratio_busy:.1f}; shadow by a plain numpy march of 200 m; "
        f"{', '.join(f'{name} {value:.1f}' for name, value in parts)} s"
    )
    quoted = whole - peer.seconds["shadow"] + QUOTED_SHADOW_S * azimuths * side**2 / 2000**2
    what = f"whole job at {side} x {side}, {azimuths} directions: composed of general-purpose libraries / ours"
    return [
        Figure(what, whole / spent, 10, detail=detail),
        Figure(
            "the same with 98 ms a direction, as quoted for a shadow library of one sun",
            quoted / spent,
            detail=f"the two answers: {', '.join(text for text in said if text.startswith(SAID))}",
        ),
    ]


if __name__ == "__main__":
    show(figures(*(int(text) for text in sys.argv[1:3])))
