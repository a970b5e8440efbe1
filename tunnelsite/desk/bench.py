"""One farm in the memory of a worker: read, drawn as map images, screened, and asked about any place."""

from __future__ import annotations

import time
from collections.abc import Callable
from pathlib import Path
from typing import Any, ClassVar

import shapely

from tunnelsite.core.errors import UsageError
from tunnelsite.core.placement import Placement
from tunnelsite.core.site import Frame, Site
from tunnelsite.desk.answer import Told as ToldBy
from tunnelsite.desk.answer import answer_of
from tunnelsite.desk.answer_images import AnswerImages
from tunnelsite.desk.features import site_features
from tunnelsite.desk.gather_messages import GatherAsked
from tunnelsite.desk.gathering import gathered, planned
from tunnelsite.desk.hand import InHand
from tunnelsite.desk.hand_messages import GROUND_ONLY
from tunnelsite.desk.held import held, still_reading
from tunnelsite.desk.images import MapImages
from tunnelsite.desk.land import Looked, ground_alone, looked_at, more_of, with_features
from tunnelsite.desk.measures import Units
from tunnelsite.desk.messages import RunCost
from tunnelsite.desk.other_season import lit_for
from tunnelsite.desk.packet import phone_page, write_packet
from tunnelsite.desk.page_words import message_of
from tunnelsite.desk.pins_compared import pins_compared
from tunnelsite.desk.project import Project
from tunnelsite.desk.run_cost import run_cost
from tunnelsite.desk.screening import USUAL_CRITERIA, screened
from tunnelsite.desk.spot import Spots
from tunnelsite.desk.tap import not_searched, tapped
from tunnelsite.desk.what_if import NeedsRun, what_if
from tunnelsite.io.read.files import available_bytes
from tunnelsite.io.read.site import site_from
from tunnelsite.kernels.one_thread import one_thread
from tunnelsite.scan.localise import frame_grid
from tunnelsite.screening.result import Result
from tunnelsite.screening.run_cost import work_of
from tunnelsite.settings.model import settings_from

Told = Callable[[dict[str, Any]], None]


class Bench:
    """What a worker holds.

    Attributes: site, frame: the farm as it was read, on the grid of the wanted ridge bearing. result: the answer that is shown, None
    before the first. images: what is drawn of it. in_hand: measures a house anywhere.
    """

    TELLING: ClassVar[tuple[str, ...]] = ("screen", "packet", "gather")

    def __init__(self) -> None:
        self.site: Site | None = None
        self.frame: Frame | None = None
        self.result: Result | None = None
        self.images: MapImages | None = None
        self.in_hand: InHand | None = None
        self._looked: Looked | None = None
        self._tried: tuple[str, Spots, tuple[float, float], InHand] | None = (
            None  # in other crop months, lit for a place
        )
        self._base: tuple[Result, str] | None = None  # what a what-if stands before

    def look(self, folder: str) -> dict[str, Any]:
        """Read the project's data. Return: view, words for the sheet; nothing without a terrain model. Errors: those of the readers."""
        project = Project(Path(folder))
        settings, units = project.settings(), Units(project.units == "ft")
        found = looked_at(settings)
        if found is None:
            return {}
        self.site, self.frame, self.result, self.in_hand = found.site, found.frame, None, None
        self.images = MapImages(self.frame, feet=units.feet, version=found.version)
        self._looked = found if found.fields else None
        return found.words(units.feet) | {"view": self.images.view, "more": bool(found.fields)}

    def look_more(self, folder: str) -> dict[str, Any]:
        """Read what stands on the ground, for the hand and the map. Return: as `look`. Errors: those of the readers."""
        project = Project(Path(folder))
        settings, units = project.settings(), Units(project.units == "ft")
        found = more_of(held(self._looked), settings)
        self.frame, self._looked = found.frame, None
        self.images = MapImages(self.frame, feet=units.feet, version=found.version)
        self.in_hand = InHand(ground_alone(found, settings), units)
        return found.words(units.feet) | {"view": self.images.view}

    def refresh(self, folder: str) -> bool:
        """Let the hand and the map know the features as they are now. Return: whether that could be done without reading the ground
        again. Errors: those of the readers."""
        if self.in_hand is None:
            return False
        project = Project(Path(folder))
        settings = project.settings()
        site = site_from(settings)
        grid, in_hand = held(self.frame).grid, self.in_hand
        reach = frame_grid(site, bearing_deg=grid.bearing_deg, cell_m=grid.cell_m, halo_m=settings.halo_m)
        if site.dem.sha256 != held(self.site).dem.sha256 or not shapely.box(*grid.bounds).covers(
            shapely.box(*reach.bounds)
        ):
            return False
        self.site = site
        in_hand.spots = Spots(site, with_features(held(self.frame), site))
        return True

    def cost(self, folder: str) -> RunCost | None:
        """What a run with the settings as they are would need; None where there is no field yet. Errors: UsageError, InputRefused."""
        if self.site is None or not (self.in_hand is not None or self._looked is not None):
            return None
        settings = Project(Path(folder)).settings()
        grid, work = work_of(self.site, settings, USUAL_CRITERIA)
        return run_cost(work, settings, grid.cell_m, available_bytes())

    def screen(self, folder: str, run: str, keep: bool, told: Told) -> dict[str, Any]:
        """Screen the project as the command line does. Return: the answer, and what was read. Errors: see `screened`."""
        project = Project(Path(folder))
        found, units = screened(project, run, told, keep), Units(project.units == "ft")
        self.site, self._base = found.site, None
        self._show(found.result, run, units)
        looked = Looked(found.site, found.result.frame, len(found.site.parcels)).words(units.feet) | {
            "view": held(self.images).view
        }
        return {"answer": found.answer, "looked": looked}

    def _show(self, result: Result, run: str, units: Units) -> None:
        self.result, self.frame = result, result.frame
        self.images, self.in_hand = AnswerImages(result, run, units), InHand(result, units)

    def say_in_units(self, folder: str, took_s: float) -> dict[str, Any]:
        """Say what is known in the project's units. Arguments: took_s, of the answer. Return: looked, as of `look`; answer or None."""
        units, answer = Units(Project(Path(folder)).units == "ft"), None
        if self.in_hand is not None:
            self.in_hand.units = units
        if self.result is not None and isinstance(self.images, AnswerImages):
            run = self.images.run
            self.images = AnswerImages(self.result, run, units)
            answer = answer_of(self.result, ToldBy(run, took_s), units)
        else:
            self.images = MapImages(held(self.frame), feet=units.feet, version=held(self.images).version)
        site = held(self.site)
        fields = len(site.parcels) if self.in_hand is not None else 0
        looked = Looked(site, held(self.frame), fields).words(units.feet) | {"view": self.images.view}
        return {"looked": looked, "answer": answer}

    def layers(self) -> dict[str, Any]:
        """What can be drawn."""
        images = held(self.images)
        return {"layers": images.described(), "contours": images.contours_described()}

    def layer(self, name: str, month: int | None) -> bytes | None:
        """A map image as PNG; None for another name."""
        return held(self.images).png(name, month)

    def contours(self) -> dict[str, Any]:
        """Contour lines as GeoJSON."""
        return held(self.images).contours()

    def value(self, lon: float, lat: float) -> list[dict[str, Any]]:
        """What the model knows of a place."""
        return held(self.images).values_at(lon, lat)

    def features(self) -> dict[str, Any]:
        """What the files hold, as GeoJSON."""
        fields = self.in_hand is not None or self._looked is not None
        return site_features(held(self.site), held(self.frame).grid, held(self.images).units, fields=fields)

    def hand(self, lon: float, lat: float, bearing_deg: float, house: str, months: str | None = None) -> dict[str, Any]:
        """A house in the hand, in other crop months where those are given. Errors: UsageError for a place off the data, or where there
        is no field yet."""
        in_hand = self._ready()
        with one_thread():
            told = in_hand.message(lon, lat, bearing_deg, house)
            if months:
                usual, told = told, self._in_months(months, (lon, lat)).message(lon, lat, bearing_deg, house)
                told["tried"]["usual"] = usual["score"]["steady"]
        if self.result is None:
            score = {"steady": None, "here": None, "words": "no score yet: find places first"}
            told |= {"measured": GROUND_ONLY, "score": score, "room_m": None, "criteria": []}
        return told

    def _in_months(self, months: str, place: tuple[float, float]) -> InHand:
        """The hand in other crop months; the light of the land round the place is kept while the house stays near."""
        in_hand = held(self.in_hand)
        spots, tried = in_hand.spots, self._tried
        if tried is None or tried[:2] != (months, spots) or not lit_for(spots.frame, tried[2], place):
            self._tried = tried = (months, spots, place, in_hand.in_months(months, place))
        return tried[3]

    def _ready(self) -> InHand:
        """The hand. Errors: UsageError where there is no field yet; StillReading."""
        if self._looked is not None:
            raise still_reading()
        if self.in_hand is None:
            raise UsageError("there is no field yet", "a field: a file of parcels, or one drawn on the map", "draw one")
        return self.in_hand

    def tap(self, lon: float, lat: float) -> dict[str, Any]:
        """Why not here. Errors: UsageError where there is no field yet, or the land is still being read."""
        if self.result is None:
            return not_searched(self._ready(), lon, lat)
        with one_thread():
            return tapped(held(self.in_hand), lon, lat)

    def sun_chart(self, lon: float, lat: float, bearing_deg: float, house: str, months: str | None = None) -> str:
        """The sun chart of a place as SVG, with the crop months or others. Errors: as `hand`."""
        in_hand = self._ready()
        with one_thread():
            chosen = in_hand.house(house)
            place = Placement(lon, lat, bearing_deg, chosen, f"House in the hand, {chosen.name}")
            light = in_hand.light.in_months(months) if months else in_hand.light
            return light.chart(place)

    def _answered(self) -> Result:
        """The exact answer; a first look is none, nor is one read from the folder. Errors: UsageError where there is none yet."""
        if self.result is None:
            raise UsageError(
                "no search has ended since the desk was opened",
                "measured ground; an answer kept in the folder holds only its numbers",
                "wait until the kept answer is measured again; where the project was changed since, find places again",
            )
        return self.result

    def compare(self, pins: list[dict[str, Any]]) -> dict[str, Any]:
        """Pinned places side by side. Errors: UsageError where there is no exact answer yet."""
        self._answered()
        with one_thread():
            return pins_compared(held(self.in_hand), pins)

    def phone(self, pin: dict[str, Any]) -> str:
        """The stakes of a pin as a page for the phone. Errors: UsageError where there is no exact answer yet; those of the plan."""
        answered = self._answered()
        return phone_page(held(self.site), pin, answered)

    def packet(self, folder: str, run: str, pins: list[dict[str, Any]], name: str, told: Told) -> str:
        """Write a packet. Errors: those of `write_packet`."""
        project = Project(Path(folder))
        write_packet(project, run, pins, name, lambda share, words: told({"share": share, "words": words}))
        return name

    def gather_size(self, folder: str, asked: dict[str, Any]) -> dict[str, Any]:
        """What would be fetched, and how much. Errors: those of `planned`."""
        return planned(Project(Path(folder)), GatherAsked(**asked))

    def gather(self, folder: str, asked: dict[str, Any], told: Told) -> list[dict[str, str]]:
        """Fetch it. Errors: those of `gathered`."""
        return gathered(Project(Path(folder)), GatherAsked(**asked), told)

    def whatif(self, folder: str, values: dict[str, Any]) -> dict[str, Any]:
        """An answer with other settings, from what was measured. Arguments: values, all settings as in a project file.

        Return: the answer; or `needs_run` and why. Errors: UsageError for wrong settings, or where there is no exact answer yet.
        """
        answered = self._answered()
        begun, units = time.monotonic(), held(self.images).units
        run = self.images.run if isinstance(self.images, AnswerImages) else ""
        base = self._base or (answered, run)
        try:
            found = what_if(base[0], settings_from(values))
        except NeedsRun as problem:
            return {"answer": None, "needs_run": True, "words": message_of(problem)}
        took = time.monotonic() - begun
        anew = ", and the light of these months" if found.settings.crop_months != base[0].settings.crop_months else ""
        answer = answer_of(found, ToldBy("what-if", took, what_if=True), units)
        self._show(found, "what-if", units)
        self._base = base
        return {"answer": answer, "needs_run": False, "words": f"{took:.1f} s, from what was measured{anew}"}

    def forget(self) -> bool:
        """Back to the answer before the what-if. Return: whether there was one."""
        if self._base is None:
            return False
        (result, run), self._base = self._base, None
        self._show(result, run, held(self.images).units)
        return True
