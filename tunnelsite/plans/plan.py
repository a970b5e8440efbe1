"""What every plan gives back: numbers, layers, tables, pictures, notes and cautions, and the files that hold them."""

from __future__ import annotations

import json
import os
from collections.abc import Mapping
from dataclasses import dataclass, field
from pathlib import Path
from typing import TYPE_CHECKING, Any

import pyproj

from tunnelsite.core.notebook import notebook_table
from tunnelsite.core.table import NULLABLE, Table, values_and_mask

if TYPE_CHECKING:
    import geopandas
    import pandas

    from tunnelsite.settings.model import Settings

LAYERS, SUMMARY, AS_PNG = "layers", "summary", "_png"


@dataclass(frozen=True)
class Lineage:
    """What a GeoPackage of layers says of itself.

    Attributes: crs of every geometry; statement, a sentence on how they were made; sources, SHA-256 of the inputs by file name;
    styles, OGC SLD documents by layer; screening, the settings of the screening that a later command goes on with, None where the
    layers hold no places of one.
    """

    crs: pyproj.CRS
    statement: str
    sources: Mapping[str, str] = field(default_factory=dict)
    styles: Mapping[str, str] = field(default_factory=dict)
    screening: Settings | None = None


@dataclass(frozen=True)
class Plan:
    """One plan of one house: it knows no command line and no path until `write`.

    Attributes:
        kind: id of the plan. title: which place, in words. summary: its numbers, ready for JSON.
        pictures: SVG documents by name. sheets: tables for CSV, by name. maps: layers, and tables that stand beside them, for one
        GeoPackage; lineage: what that says of itself, where there are maps.
        notes: what was found or assumed. cautions: what to heed.
        stem, files: the files of `write`: the beginning of their names, and by content (`layers`, `summary`, a picture, a sheet,
        NAME_png) the end of the name.
        documents: other texts by name, such as a page to print.
        detail: the typed object behind it (`SunChart`, `GradingPlan` ...), for plans that go on from it and for other pictures.
    """

    kind: str
    title: str
    summary: dict[str, Any]
    pictures: Mapping[str, str] = field(default_factory=dict)
    sheets: Mapping[str, Table] = field(default_factory=dict)
    maps: tuple[Table, ...] = ()
    lineage: Lineage | None = None
    notes: tuple[str, ...] = ()
    cautions: tuple[str, ...] = ()
    stem: str = "plan"
    files: Mapping[str, str] = field(default_factory=dict)
    detail: Any = None
    documents: Mapping[str, str] = field(default_factory=dict)

    @property
    def layers(self) -> dict[str, geopandas.GeoDataFrame]:
        """Layers by name, in the parcels' coordinate system."""
        from tunnelsite.screening.result import frame_of

        return {table.name: frame_of(table) for table in self.maps if table.geometry is not None}

    @property
    def tables(self) -> dict[str, pandas.DataFrame]:
        """Tables by name; what was not assessed is NA."""
        beside = {table.name: table for table in self.maps if table.geometry is None}
        return {name: data_frame(table) for name, table in (dict(self.sheets) | beside).items()}

    def write(self, folder: str | os.PathLike[str], *, overwrite: bool = False) -> dict[str, Path]:
        """Write the same files as the command into a folder, which is made where it is missing.

        Return: what was written, by content. Errors: OutputFailed; nothing is written where one of them is there already.
        """
        from tunnelsite.io.write.outputs import output_folder, reserved_outputs

        paths = named_files(Path(folder) / self.stem, self.files)
        with output_folder(Path(folder)), reserved_outputs(paths, (), overwrite=overwrite):
            self.write_to(paths, overwrite=overwrite)
        return paths

    def write_to(self, paths: Mapping[str, Path], *, overwrite: bool = False) -> None:
        """Write some contents to files of given names. Arguments: paths by content, as in `files`. Errors: OutputFailed."""
        from tunnelsite.drawing.png import png_of
        from tunnelsite.io.formats.csv_table import write_csv
        from tunnelsite.io.write.plan_files import write_plan
        from tunnelsite.io.write.staging import write_whole

        for name, path in paths.items():
            if name == LAYERS and self.lineage is not None:
                about = self.lineage
                write_plan(
                    path, self._stored(path.parent), crs=about.crs, statement=about.statement, sources=about.sources,
                    overwrite=overwrite, styles=about.styles,
                )  # fmt: skip
            elif name == SUMMARY:
                told = self.summary | {"outputs": {what: str(there) for what, there in paths.items()}}
                write_whole(path, json.dumps(told, indent=2, allow_nan=False) + "\n", overwrite=overwrite)
            elif name in self.sheets:
                write_csv(path, self.sheets[name], overwrite=overwrite)
            elif name in self.pictures or name in self.documents:
                text = self.pictures[name] if name in self.pictures else self.documents[name]
                write_whole(path, text, overwrite=overwrite)
            else:
                write_whole(path, png_of(self.pictures[name.removesuffix(AS_PNG)]), overwrite=overwrite)

    def _stored(self, folder: Path) -> list[Table]:
        """The layers and tables of the GeoPackage. Arguments: folder, where it will lie."""
        from tunnelsite.screening.again import BLOCK, with_project

        settings = None if self.lineage is None else self.lineage.screening
        if settings is None:
            return list(self.maps)
        return [with_project(table, settings, folder, BLOCK) if table.name == "run" else table for table in self.maps]

    def __repr__(self) -> str:
        parts = {
            "picture": self.pictures,
            "layer": [t for t in self.maps if t.geometry is not None],
            "table": self.sheets,
        }
        counts = [f"{len(one)} {what}{'s' if len(one) != 1 else ''}" for what, one in parts.items() if one]
        return f"<Plan {self.kind}: {self.title}; {', '.join(counts)}>"

    def _repr_html_(self) -> str:
        plain = {name: value for name, value in self.summary.items() if isinstance(value, str | int | float)}
        return notebook_table(self.title, plain, (*self.cautions, *self.notes))


def named_files(stem: Path, endings: Mapping[str, str]) -> dict[str, Path]:
    """A path for each content: `stem` and the content's ending."""
    return {name: stem.with_name(stem.name + ending) for name, ending in endings.items()}


def data_frame(table: Table) -> pandas.DataFrame:
    """A table without its geometry as a DataFrame of nullable types."""
    import pandas

    columns = {}
    for name, column in table.columns.items():
        values, missing = values_and_mask(name, column)
        found = pandas.Series(pandas.array(list(values), dtype=NULLABLE[column.kind]))
        columns[name] = found.mask(missing)
    return pandas.DataFrame(columns)
