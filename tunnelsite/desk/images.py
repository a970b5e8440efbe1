"""What the map shows of the land itself: hillshade, slope, water, what stands there; contours; a value under the pointer."""

from __future__ import annotations

from collections.abc import Callable
from functools import cached_property
from typing import Any

import numpy as np

from tunnelsite.core.grid import transformer
from tunnelsite.core.reproject import WGS84, to_wgs84
from tunnelsite.core.site import Frame
from tunnelsite.core.units import FOOT_M
from tunnelsite.desk.map_messages import Group, Legend, MapLayer
from tunnelsite.desk.measures import Units
from tunnelsite.desk.mercator import Sheet
from tunnelsite.desk.messages import View
from tunnelsite.desk.paint import SLOPES, WATER_BLUES, Painted, Ramp, grey, ramped
from tunnelsite.drawing.contours import contour_lines, nice_step
from tunnelsite.io.write.picture_png import png_bytes
from tunnelsite.kernels.terrain.slope import hillshade, slope

SUN_AZIMUTH_DEG, SUN_ELEVATION_DEG, EXAGGERATION = 315.0, 45.0, 2.0  # the usual light from the upper left
DARKEST = 96.0  # of 255: what is drawn on it stays readable
MOST_CONTOURS, LEAST_CONTOUR_M, INDEX_EVERY = 24, 0.25, 5
MOST_CONTOUR_CELLS = 700  # of the longer side: finer lines would not be seen
SHOWS_WATER_M2, SHOWS_PONDING_M, SHOWS_STANDING_M = 500.0, 0.02, 0.5
STEEPEST_PCT = 15.0
OPACITY = {"hillshade": 1.0}
Painter = tuple[str, Group, Callable[[int | None], Painted]]  # title, group, the picture in a month


class MapImages:
    """Images of one frame, each made when it is first asked for.

    Arguments: frame; feet, whether words are in feet. Attributes: sheet, where the images lie.
    """

    def __init__(self, frame: Frame, *, feet: bool, version: str = "0") -> None:
        self.frame, self.units, self.version = frame, Units(feet), version
        self.sheet = Sheet(frame.grid)
        self._made: dict[tuple[str, int | None], Painted] = {}
        self._painters: dict[str, Painter] = {
            "hillshade": ("Hillshade", "ground", self._hillshade),
            "slope": ("Slope", "ground", self._slope),
            "surface": ("What stands there", "ground", self._standing),
            "water": ("Where water gathers", "water", self._water),
            "ponding": ("Where water stands", "water", self._ponding),
        }
        needs = {"surface": "standing_m", "water": "upslope_m2", "ponding": "ponding_m"}
        for name, layer in needs.items():
            if layer not in frame.layers:
                self._painters.pop(name)
        standing = frame.layers.get("standing_m")
        # with the bare ground alone, whether anything stands is not known
        if standing is not None and not (standing > 0).any():
            self._painters.pop("surface")

    @property
    def view(self) -> dict[str, float]:
        """The box of every image [deg]."""
        return self.sheet.view

    def described(self) -> list[dict[str, Any]]:
        """The images that can be asked for, as messages."""
        return [self._described(name) for name in self._painters]

    def _described(self, name: str) -> dict[str, Any]:
        title, group, _ = self._painters[name]
        legend = self.painted(name, None).legend
        url = f"/api/layers/{name}.png?v={self.version}"
        found = MapLayer(id=name, title=title, group=group, url=url, bounds=View(**self.view), unit=legend.unit, legend=legend,
                         opacity=OPACITY.get(name, 0.7), shown=name == "hillshade")  # fmt: skip
        return found.model_dump(mode="json")

    def painted(self, name: str, month: int | None) -> Painted:
        """An image with its legend. Errors: KeyError for another name."""
        if (name, month) not in self._made:
            self._made[name, month] = self._painters[name][2](month)
        return self._made[name, month]

    def png(self, name: str, month: int | None) -> bytes | None:
        """An image as PNG; None for another name."""
        if name not in self._painters:
            return None
        return png_bytes(np.ascontiguousarray(np.moveaxis(self.painted(name, month).rgba, -1, 0)), level=1)

    def _hillshade(self, month: int | None) -> Painted:
        grid = self.frame.grid
        turned = (SUN_AZIMUTH_DEG - (grid.bearing_deg - 90.0)) % 360.0
        shade = hillshade(self.frame.ground, grid.cell_m, turned, SUN_ELEVATION_DEG, EXAGGERATION)
        shown = DARKEST + self.sheet.shown(shade) * ((255.0 - DARKEST) / 255.0)
        note = f"light from the north-west, heights {EXAGGERATION:g} times; it casts no shadow"
        return grey(shown, Legend(kind="none", title="Hillshade", note=note))

    def _slope(self, month: int | None) -> Painted:
        rise = 100 * slope(self.frame.ground, self.frame.grid.cell_m)
        note = "of single cells, which are noisy: a house is judged by the plane under it"
        ramp = Ramp("Slope", "%", lambda value: f"{value:g} %" + (" and more" if value >= STEEPEST_PCT else ""), SLOPES,
                    (0.0, STEEPEST_PCT), note)  # fmt: skip
        return ramped(self.sheet.shown(rise), ramp)

    def _standing(self, month: int | None) -> Painted:
        tall = self.sheet.shown(self.frame.layers["standing_m"])
        tall[~(tall >= SHOWS_STANDING_M)] = np.nan
        return ramped(tall, Ramp("What stands there", self.units.unit, self.units.height))

    def _water(self, month: int | None) -> Painted:
        area = self.sheet.shown(self.frame.layers["upslope_m2"])
        area[~(area >= SHOWS_WATER_M2)] = np.nan
        ramp = Ramp("Land that drains through", "", lambda value: self.units.land(10.0**value), WATER_BLUES,
                    note="what drains less land is not shown")  # fmt: skip
        return ramped(np.log10(area), ramp)

    def _ponding(self, month: int | None) -> Painted:
        depth = self.sheet.shown(self.frame.layers["ponding_m"])
        depth[~(depth >= SHOWS_PONDING_M)] = np.nan
        return ramped(
            depth, Ramp("Water stands this deep before it runs off", self.units.unit, self.units.depth, WATER_BLUES)
        )

    @cached_property
    def _interval_m(self) -> float:
        known = self.frame.ground[np.isfinite(self.frame.ground)]
        unit = FOOT_M if self.units.feet else 1.0
        span = float(np.ptp(known)) / unit if known.size else 0.0
        least = 1.0 if self.units.feet else LEAST_CONTOUR_M
        return max(nice_step(span, MOST_CONTOURS), least) * unit

    def contours_described(self) -> dict[str, Any]:
        """Where contour lines are to be had and how far they are apart."""
        return {"url": f"/api/contours?v={self.version}", "interval_words": self.units.height(self._interval_m)}

    def contours(self) -> dict[str, Any]:
        """Contour lines as GeoJSON, heights in the user's unit as labels."""
        grid, step = self.frame.grid, max(1, max(self.frame.grid.shape) // MOST_CONTOUR_CELLS)
        along, _ = grid.centre(0, np.arange(0, grid.cols, step))
        _, across = grid.centre(np.arange(0, grid.rows, step), 0)
        heights = self.frame.ground[::step, ::step].astype(float) + self.frame.datum_m
        features = []
        for level, line in contour_lines(along, across, heights, self._interval_m):
            lon, lat = to_wgs84(grid, line[:, 0], line[:, 1])
            points = np.column_stack([lon, lat]).round(7).tolist()
            index = round(level / self._interval_m) % INDEX_EVERY == 0
            about = {"height_m": round(level, 3), "label": self.units.level(level), "index": index}
            features.append(
                {"type": "Feature", "properties": about, "geometry": {"type": "LineString", "coordinates": points}}
            )
        return {"type": "FeatureCollection", "features": features}

    def cell_at(self, lon: float, lat: float) -> tuple[int, int] | None:
        """Row and column of a place; None outside the grid."""
        grid = self.frame.grid
        along, across = grid.from_map(*transformer(WGS84, grid.crs_wkt).transform(lon, lat))
        row, col = (grid.north_m - across) / grid.cell_m, (along - grid.west_m) / grid.cell_m
        if not (0 <= row < grid.rows and 0 <= col < grid.cols):  # false for infinities of PROJ too
            return None
        return int(row), int(col)

    def values_at(self, lon: float, lat: float) -> list[dict[str, Any]]:
        """What the model knows of a place; nothing outside the grid."""
        cell = self.cell_at(lon, lat)
        if cell is None:
            return []
        ground = float(self.frame.ground[cell]) + self.frame.datum_m
        found: list[dict[str, Any]] = [
            {"layer": "ground", "title": "Ground", "value": ground, "unit": "m", "words": self.units.level(ground)}
        ]
        told = {
            "standing_m": ("surface", "Trees and buildings", "m", self.units.depth),
            "upslope_m2": ("water", "Land that drains through", "m2", self.units.land),
            "ponding_m": ("ponding", "Water stands", "m", self.units.depth),
        }
        for name, (layer, title, unit, words) in told.items():
            if name in self.frame.layers and layer in self._painters:
                value = float(self.frame.layers[name][cell])
                found.append({"layer": layer, "title": title, "value": value, "unit": unit, "words": words(value)})
        return [item if np.isfinite(item["value"]) else item | {"value": None, "words": "not known"} for item in found]
