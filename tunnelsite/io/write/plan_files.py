"""Writes the layers of a plan (grading, layout) as one GeoPackage."""

from __future__ import annotations

import os
from collections.abc import Iterable, Mapping, Sequence
from xml.sax.saxutils import escape

import pyproj

from tunnelsite.core.cautions import CAUTIONS
from tunnelsite.core.table import Table
from tunnelsite.io.formats.geopackage import run_stamp, write_geopackage

GMD, GCO = "http://www.isotc211.org/2005/gmd", "http://www.isotc211.org/2005/gco"


def write_plan(
    path: str | os.PathLike[str],
    tables: Sequence[Table],
    *,
    crs: pyproj.CRS,
    statement: str,
    sources: Mapping[str, str],
    overwrite: bool,
    styles: Mapping[str, str] | None = None,
) -> None:
    """Write tables as one GeoPackage, whole or not at all.

    Arguments: path; tables; crs of every geometry; statement, a sentence on how they were made; sources, SHA-256 of
    the inputs by file name; overwrite; styles, OGC SLD documents by table name.
    Errors: OutputFailed; what was there before stays.
    """
    write_geopackage(
        path,
        {table.name: table for table in tables},
        crs=crs,
        styles=styles or {},
        lineage_xml=lineage_xml(statement, sources.items()),
        cautions=CAUTIONS,
        overwrite=overwrite,
        stamp=run_stamp(),
    )


def lineage_xml(statement: str, sources: Iterable[tuple[str, str]], steps: Iterable[str] = ()) -> str:
    """An ISO 19139 `LI_Lineage` with one step per stage and one source, (name, SHA-256), per input."""

    def text(tag: str, words: str) -> str:
        return f"<gmd:{tag}><gco:CharacterString>{escape(words)}</gco:CharacterString></gmd:{tag}>"

    found = "".join(
        f"<gmd:source><gmd:LI_Source>{text('description', f'{name}, sha256 {digest}')}</gmd:LI_Source></gmd:source>"
        for name, digest in sources
    )
    stages = "".join(
        f"<gmd:processStep><gmd:LI_ProcessStep>{text('description', words)}</gmd:LI_ProcessStep></gmd:processStep>"
        for words in steps
    )
    inside = text("statement", statement) + stages + found
    return f'<gmd:LI_Lineage xmlns:gmd="{GMD}" xmlns:gco="{GCO}">{inside}</gmd:LI_Lineage>'
