"""One tool of the program as a tool of the processing toolbox: its form from the description, its run as a program."""

from __future__ import annotations

from pathlib import Path

from qgis.core import (
    QgsCoordinateReferenceSystem,
    QgsProcessingAlgorithm,
    QgsProcessingContext,
    QgsProcessingException,
    QgsProcessingOutputString,
    QgsVectorLayer,
)

from .form import LINES, parameter_of
from .program import ProgramError, run

# Shown at once; everything else opens with "Advanced parameters".
FIRST = {
    "dem", "parcels", "surface", "obstacles", "structures", "keep_out", "service", "house", "kind", "crop_months", "bearing",
    "setback", "clearance", "sites", "rank", "at", "kept", "first", "second", "ranks", "input", "output", "layer", "out", "to",
    "project", "grading", "houses", "formats",
}  # fmt: skip
CHOICE = ("sites", "rank", "ranks")  # a candidate of a screening
OURS = {"json", "quiet", "verbose", "overwrite", "dry_run"}  # settled here, not asked
BETWEEN = "!!::!!"  # the parts of a line on a layer of a file
LONG_LAT = QgsCoordinateReferenceSystem("EPSG:4326")


class Tool(QgsProcessingAlgorithm):
    """A tool. Arguments: about, one entry of `tunnelsite describe --json`."""

    def __init__(self, about):
        super().__init__()
        self.about = about
        asked = [one for one in about["arguments"] if one["name"] not in OURS]
        self.asked = sorted(
            asked, key=lambda one: one["name"] not in CHOICE
        )  # what a plan is usually made of comes first
        self.known = {one["name"] for one in about["arguments"]}

    def createInstance(self):
        """A fresh one for each run."""
        return Tool(self.about)

    def name(self):
        """Its id."""
        return self.about["id"]

    def displayName(self):
        """Its title."""
        return self.about["title"]

    def group(self):
        """Its heading."""
        return self.about["group"]

    def groupId(self):
        """Its heading as an id."""
        return self.about["group"].lower().replace(" ", "_").replace(",", "")

    def shortHelpString(self):
        """What it does, and what each argument means."""
        lines = [f"<p>{self.about['help'][:1].upper()}{self.about['help'][1:]}</p>"]
        lines += [f"<p><b>{one['title']}</b>: {one['help']}</p>" for one in self.asked if one["help"]]
        return "".join([*lines, "<p>This is a screening, not a survey. Local codes and licensed practice decide.</p>"])

    def initAlgorithm(self, configuration=None):
        """The form."""
        for one in self.asked:
            self.addParameter(parameter_of(one, advanced=one["name"] not in FIRST))
        self.addOutput(QgsProcessingOutputString("answer", "Answer"))

    def processAlgorithm(self, parameters, context, feedback):
        """Run the program with what the form holds, and load what it wrote."""
        words, written = self._words(parameters, context, feedback)
        feedback.pushCommandInfo(" ".join(["tunnelsite", *words]))
        try:
            said = run(words, feedback.pushInfo, feedback.isCanceled)
        except ProgramError as problem:
            raise QgsProcessingException(str(problem)) from None
        feedback.pushInfo(said)
        for path in written.values():
            if path.endswith(".gpkg") and Path(path).is_file():
                _load(path, context)
        return {**written, "answer": said}

    def _words(self, parameters, context, feedback):
        words, written = list(self.about["command"]), {}
        for one in self.asked:
            values = self._values(one, parameters, context, feedback)
            if one["kind"] in ("new_file", "new_folder") and values:
                written[one["name"]] = values[0]
            if one["kind"] == "flag":
                words += one["words"] if values else []
            elif one["kind"] == "point" and values:
                words += [*one["words"], *values]
            else:
                for value in values:
                    value = one["join"] + value
                    words += [f"{one['words'][0]}={value}"] if one["words"] else [value]
        return [*words, *(["--overwrite"] if "overwrite" in self.known and written else [])], written

    def _values(self, one, parameters, context, feedback):
        """What the form holds for one argument, as words; none where it was left as it is."""
        name, kind = one["name"], one["kind"]
        if kind == "flag":
            return ["yes"] if self.parameterAsBool(parameters, name, context) else []
        if parameters.get(name) in (None, ""):
            return []
        if kind == "raster":
            layer = self.parameterAsRasterLayer(parameters, name, context)
            return [] if layer is None else [layer.source()]
        if kind == "features":
            path, layer = self.parameterAsCompatibleSourceLayerPathAndLayerName(
                parameters, name, context, ["gpkg", "geojson", "shp"], "gpkg", feedback
            )
            return [f"{path}#{layer}" if layer and path.endswith(".gpkg") else path]
        if kind == "point":
            point = self.parameterAsPoint(parameters, name, context, LONG_LAT)
            return [f"{point.x():.9f}", f"{point.y():.9f}"]
        if kind == "new_file":
            return [self.parameterAsFileOutput(parameters, name, context)]
        if kind == "choice":
            return [self.parameterAsString(parameters, name, context)]
        text = self.parameterAsString(parameters, name, context)
        return (
            [line.strip() for line in text.splitlines() if line.strip()]
            if kind in LINES or one["repeatable"]
            else [text]
        )


def _load(path, context):
    """Every layer of a GeoPackage that holds shapes, when the run is over; its style comes with it."""
    whole = QgsVectorLayer(path, "all", "ogr")  # its list of layers lives as long as it does
    for line in whole.dataProvider().subLayers():
        _, name, count, kind = line.split(BETWEEN)[:4]
        if kind not in ("None", "NoGeometry") and count != "0":
            uri = f"{path}|layername={name}"
            shown = f"{Path(path).stem}: {name}"  # two plans have layers of one name
            details = QgsProcessingContext.LayerDetails(shown, context.project(), name)
            context.addLayerToLoadOnCompletion(uri, details)
