"""Makes the pictures of README and docs from sample_data: `python docs/pictures/make_pictures.py [FOLDER]`.

`map.png` needs matplotlib (among what the tests need); `sun-chart.svg`, `grading-map.svg` and `grading-profiles.svg` are
what the commands write. With SITES.gpkg as second argument that screening of the sample farm is used instead of a new one
(about two minutes).
"""

from __future__ import annotations

import io
import sys
import tempfile
from pathlib import Path

import geopandas
import matplotlib

matplotlib.use("Agg")
import matplotlib.patheffects as effects
import matplotlib.pyplot as plt
import numpy as np
import shapely
from matplotlib.colors import Normalize
from matplotlib.figure import Figure
from matplotlib.lines import Line2D
from matplotlib.patches import Patch
from PIL import Image
from scipy.ndimage import gaussian_filter

from tunnelsite.core.catalogue import process
from tunnelsite.core.layers import Layer
from tunnelsite.hosts.cli.main import main
from tunnelsite.io.read.raster_header import raster_header
from tunnelsite.io.read.rasters import read_raster
from tunnelsite.plans.stakeout.bearings import convergence_deg

HERE = Path(__file__).resolve().parent
FARM = HERE.parents[1] / "sample_data"
PICTURES = ("map.png", "sun-chart.svg", "grading-map.svg", "grading-profiles.svg")
INK, SOFT = "#1a1a1a", "#5b6570"
HALO = [effects.withStroke(linewidth=2.5, foreground="white")]


def make_pictures(folder: Path, sites: Path | None = None) -> list[Path]:
    """Make every picture in `folder`. Arguments: sites, a screening of the sample farm; None screens it anew."""
    with tempfile.TemporaryDirectory() as name:
        work = Path(name)
        if sites is None:
            sites = work / "sites.gpkg"
            _run("screen", "--project", str(FARM / "farm.toml"), "--out", str(sites))
        asked = ("--project", str(FARM / "farm.toml"), "--sites", str(sites))
        # the second candidate: it has trees and a barn near, so its chart shows something
        _run("sunchart", *asked, "--rank", "2", "--out", str(work / "sun-chart.svg"))
        _run("grading", *asked, "--rank", str(_most_earth(sites)), "--out", str(work / "grading.gpkg"))
        data = {name: (work / name).read_bytes() for name in PICTURES[1:]}
        data["map.png"] = _small_png(candidates_map(sites))
    folder.mkdir(parents=True, exist_ok=True)
    for name in PICTURES:
        (folder / name).write_bytes(data[name])
    return [folder / name for name in PICTURES]


def _most_earth(sites: Path) -> int:
    """The rank of the candidate with the most to cut: the first ones lie level, and a plan that moves no earth shows nothing."""
    candidates = geopandas.read_file(sites, layer="candidates")
    return int(candidates.loc[candidates["cut_m3"].idxmax(), "rank"])


def candidates_map(sites: Path) -> Figure:
    """Candidates by score over the shaded ground, with what bars a place."""
    dem = read_raster(raster_header(str(FARM / "dem.tif"), "DEM"))
    parcels = geopandas.read_file(FARM / "parcels.gpkg")
    candidates = geopandas.read_file(sites, layer="candidates").to_crs(parcels.crs)
    west, south, east, north = parcels.total_bounds + np.array([-25, -25, 25, 70])
    figure, axes = plt.subplots(figsize=(9.4, 8.5), layout="constrained")
    _ground(axes, dem)
    barred = _barred(axes, parcels)
    values = Normalize(np.floor(candidates["score"].min()), np.ceil(candidates["score"].max()))
    candidates.plot(ax=axes, column="score", cmap="viridis", norm=values, edgecolor=INK, linewidth=1.0, zorder=6)
    _ranks(axes, candidates)
    _names(axes, parcels, candidates)
    bar = figure.colorbar(plt.cm.ScalarMappable(values, "viridis"), ax=axes, shrink=0.4, aspect=20, pad=0.01)
    bar.set_label("score (0-100)", color=INK)
    footprint = Patch(facecolor="#7ad151", edgecolor=INK, label="candidate, with its rank")
    figure.legend(
        handles=[footprint, *barred], loc="outside lower left", ncols=4, fontsize=9, frameon=False, columnspacing=1.6
    )
    _furniture(axes, dem, (west, south, east, north))
    axes.set_xlim(west, east)
    axes.set_ylim(south, north)
    axes.set_axis_off()
    places = (
        f"{len(candidates)} best places for a {candidates['house'].iloc[0]} house" if len(candidates) else "No place"
    )
    figure.suptitle(f"{places} on an invented farm", x=0.01, ha="left", fontsize=13, color=INK)
    return figure


def _ground(axes, dem) -> None:
    cell = dem.affine[0]
    ground = Layer(dem.values, "m", "ground", (cell, cell))
    steep = {"azimuth_deg": 315.0, "elevation_deg": 40.0, "exaggeration": 3.0}
    shade = process("hillshade")({"ground": ground}, steep)["hillshade"].values
    left, top = dem.affine[2], dem.affine[5]
    extent = (left, left + cell * dem.cols, top - cell * dem.rows, top)
    even = np.where(np.isfinite(shade), np.round(gaussian_filter(np.nan_to_num(shade, nan=180.0), 1.6) / 8) * 8, np.nan)
    axes.imshow(even, extent=extent, cmap="gray", vmin=-160, vmax=235, interpolation="nearest", zorder=0)


def _barred(axes, parcels) -> list:
    parcels.boundary.plot(ax=axes, color=INK, linewidth=1.1, zorder=4)
    for name in ("wetland", "floodplain", "septic"):
        shapes = geopandas.read_file(FARM / f"{name}.gpkg")
        shapes.plot(ax=axes, facecolor="none", edgecolor="#31688e", hatch="////", linewidth=0.8, zorder=2)
    structures = geopandas.read_file(FARM / "structures.gpkg")
    structures.plot(ax=axes, color=INK, zorder=4)
    trees = geopandas.read_file(FARM / "obstacles.gpkg")
    trees = trees[trees.geom_type != "Polygon"]
    trees[trees.geom_type == "Point"].plot(
        ax=axes, color="#35b779", markersize=14, edgecolor=INK, linewidth=0.4, zorder=4
    )
    trees[trees.geom_type != "Point"].plot(ax=axes, color="#35b779", linewidth=3.0, zorder=3)
    lines = geopandas.read_file(FARM / "lines.gpkg")
    lines.plot(ax=axes, color="#b5367a", linewidth=1.2, linestyle=(0, (6, 3)), zorder=3)
    road = geopandas.read_file(FARM / "road.gpkg")
    road.plot(ax=axes, color="white", linewidth=2.6, zorder=2)
    road.plot(ax=axes, color=SOFT, linewidth=1.0, zorder=2)
    return [
        Line2D([], [], color=INK, lw=1.1, label="parcel"),
        Patch(facecolor=INK, label="structure"),
        Line2D([], [], color="#35b779", marker="o", mec=INK, mew=0.4, ms=5, lw=3, label="trees, hedge"),
        Patch(facecolor="white", edgecolor="#31688e", hatch="////", label="wetland, floodplain, septic field"),
        Line2D([], [], color="#b5367a", lw=1.2, ls=(0, (6, 3)), label="overhead or buried line"),
        Line2D([], [], color=SOFT, lw=1.4, label="road, lane"),
    ]


def _ranks(axes, candidates) -> None:
    for rank, shape in zip(candidates["rank"], candidates.geometry, strict=True):
        west, _, east, north = shape.bounds
        axes.annotate(
            str(rank), ((west + east) / 2, north + 3), ha="center", va="bottom", fontsize=10, weight="bold", color=INK,
            path_effects=HALO, zorder=7,
        )  # fmt: skip


def _names(axes, parcels, candidates) -> None:
    """Names of the parcels, each in that corner of its parcel that is farthest from a candidate."""
    taken = candidates.union_all()
    for name, shape in zip(parcels["parcel"], parcels.geometry, strict=True):
        west, south, east, north = shape.bounds
        ways = {"left": west + 12, "right": east - 12}
        corners = {(across, up): shapely.Point(ways[across], up) for across in ways for up in (south + 12, north - 22)}
        inside = {
            key: place for key, place in corners.items()
            if shape.contains(shapely.box(place.x, place.y, place.x + (90 if key[0] == "left" else -90), place.y + 12))
        }  # fmt: skip
        key, place = max(
            inside.items(), key=lambda item: item[1].distance(taken), default=(None, shape.representative_point())
        )
        axes.annotate(
            name, (place.x, place.y), ha=key[0] if key else "center", fontsize=9.5, color=INK, style="italic",
            path_effects=HALO, zorder=5,
        )  # fmt: skip


def _furniture(axes, dem, box) -> None:
    """Scale bar and an arrow to true north."""
    west, south, east, north = box
    start, level = east - 190, north - 34
    axes.plot([start, start + 100], [level, level], color=INK, lw=3, solid_capstyle="butt", zorder=8, path_effects=HALO)
    axes.annotate("100 m", (start + 50, level + 6), ha="center", fontsize=9, path_effects=HALO, zorder=8)
    middle = shapely.Point((west + east) / 2, (south + north) / 2)
    change = geopandas.GeoSeries([middle], crs=dem.crs).to_crs(4326).iloc[0]
    turn = np.radians(convergence_deg(dem.crs, change.x, change.y))
    foot = np.array([east - 32, north - 62])
    tip = foot + 40 * np.array([-np.sin(turn), np.cos(turn)])
    axes.annotate("", tip, foot, arrowprops={"arrowstyle": "-|>", "color": INK, "lw": 1.6}, zorder=8)
    axes.annotate(
        "true north", (tip[0], tip[1] + 2), ha="center", va="bottom", fontsize=8.5, path_effects=HALO, zorder=8
    )


def _small_png(figure: Figure) -> bytes:
    stream, small = io.BytesIO(), io.BytesIO()
    figure.savefig(stream, dpi=100, facecolor="white")
    plt.close(figure)
    Image.open(stream).convert("RGB").save(small, "PNG", optimize=True)
    return small.getvalue()


def _run(*words: str) -> None:
    status = main([*words, "-q", "--overwrite"])
    if status:
        raise SystemExit(status)


if __name__ == "__main__":
    for path in make_pictures(*[Path(word) for word in sys.argv[1:3]] or [HERE]):
        print(path, path.stat().st_size, "bytes")
