"""One argument of a description as a field of a form."""

from __future__ import annotations

from qgis.core import (
    QgsProcessing,
    QgsProcessingParameterBoolean,
    QgsProcessingParameterDefinition,
    QgsProcessingParameterEnum,
    QgsProcessingParameterFile,
    QgsProcessingParameterFileDestination,
    QgsProcessingParameterFolderDestination,
    QgsProcessingParameterNumber,
    QgsProcessingParameterPoint,
    QgsProcessingParameterRasterDestination,
    QgsProcessingParameterRasterLayer,
    QgsProcessingParameterString,
    QgsProcessingParameterVectorLayer,
)

LINES = ("list", "table")
ENDINGS = {"sites": "gpkg", "kept": "npz", "project": "toml"}


def parameter_of(one, advanced):
    """The field of one argument. Arguments: one, an entry of a tool's `arguments`; advanced, whether it is shown on demand only."""
    field = _field(one)
    field.setHelp(one["help"])
    if advanced:
        field.setFlags(field.flags() | QgsProcessingParameterDefinition.FlagAdvanced)
    return field


def _field(one):
    name, title, optional, kind = one["name"], _title(one), not one["required"], one["kind"]
    if kind == "raster":
        return QgsProcessingParameterRasterLayer(name, title, optional=optional)
    if kind == "features":
        return QgsProcessingParameterVectorLayer(name, title, [QgsProcessing.TypeVectorAnyGeometry], optional=optional)
    if kind in ("sites", "kept", "project", "file"):
        return QgsProcessingParameterFile(name, title, extension=ENDINGS.get(kind, ""), optional=optional)
    if kind == "point":
        return QgsProcessingParameterPoint(name, title, optional=optional)
    if kind == "flag":
        return QgsProcessingParameterBoolean(name, title, False, optional=True)
    if kind == "choice":
        return QgsProcessingParameterEnum(name, title, list(one["choices"]), optional=True, usesStaticStrings=True)
    if kind in ("number", "whole"):
        return _number(one, title)
    if kind == "new_folder":
        return QgsProcessingParameterFolderDestination(name, title, optional=optional, createByDefault=not optional)
    if kind == "new_file":
        return _new_file(one, title)
    return QgsProcessingParameterString(name, title, optional=optional, multiLine=kind in LINES or one["repeatable"])


def _title(one):
    """The title, with the default in brackets: an empty field keeps it."""
    default = one["default"]
    many = ", one a line" if one["kind"] in LINES or one["repeatable"] else ""
    many = ", NAME=VALUE a line" if one["kind"] == "table" else many
    return (
        f"{one['title']} [{default}]{many}"
        if default and one["kind"] not in ("flag", "new_file")
        else f"{one['title']}{many}"
    )


def _number(one, title):
    kind = QgsProcessingParameterNumber.Integer if one["kind"] == "whole" else QgsProcessingParameterNumber.Double
    field = QgsProcessingParameterNumber(one["name"], title, kind, optional=True)
    if one["least"] is not None:
        field.setMinimum(one["least"])
    if one["most"] is not None:
        field.setMaximum(one["most"])
    return field


def _new_file(one, title):
    ending = one["ending"].lstrip(".")
    main = one["name"] in ("out", "output")
    if ending == "tif":
        return QgsProcessingParameterRasterDestination(one["name"], title)
    pattern = f"{ending.upper()} (*.{ending})" if ending else ""
    return QgsProcessingParameterFileDestination(one["name"], title, pattern, optional=not main, createByDefault=main)
