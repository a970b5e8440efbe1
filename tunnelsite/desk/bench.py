"""One farm in the memory of a worker: read, drawn as map images, screened, and asked about any place."""

from __future__ import annotations

from collections.abc import Callable
from pathlib import Path
from typing import Any, ClassVar

from tunnelsite.core.site import Frame, Site
from tunnelsite.desk.features import site_features
from tunnelsite.desk.images import MapImages
from tunnelsite.desk.land import looked_at
from tunnelsite.desk.project import Project
from tunnelsite.settings.model import Settings

Told = Callable[[dict[str, Any]], None]


class Bench:
    """What a worker holds.

    Attributes: site, frame: the farm as it was read, on the grid of the wanted ridge bearing. images: what is drawn of it.
    """

    TELLING: ClassVar[tuple[str, ...]] = ("screen", "packet")

    def __init__(self) -> None:
        self.settings: Settings | None = None
        self.site: Site | None = None
        self.frame: Frame | None = None
        self.images: MapImages | None = None

    def look(self, folder: str) -> dict[str, Any]:
        """Read the project's data. Return: view, words for the sheet. Errors: those of the readers."""
        project = Project(Path(folder))
        self.settings = project.settings()
        found = looked_at(self.settings)
        if found is None:
            return {}
        self.site, self.frame = found.site, found.frame
        self.images = MapImages(self.frame, feet=project.units == "ft")
        return found.words(project.units == "ft") | {"view": self.images.view}

    def layers(self) -> dict[str, Any]:
        """What can be drawn."""
        return {"layers": self.images.described(), "contours": self.images.contours_described()}

    def layer(self, name: str, month: int | None) -> bytes | None:
        """A map image as PNG; None for another name."""
        return self.images.png(name, month)

    def contours(self) -> dict[str, Any]:
        """Contour lines as GeoJSON."""
        return self.images.contours()

    def value(self, lon: float, lat: float) -> list[dict[str, Any]]:
        """What the model knows of a place."""
        return self.images.values_at(lon, lat)

    def features(self) -> dict[str, Any]:
        """What the files hold, as GeoJSON."""
        return site_features(self.site, self.frame.grid, self.images.units)
