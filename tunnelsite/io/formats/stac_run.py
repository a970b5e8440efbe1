"""What a STAC item says of the run that made it, and the collection that it lies in."""

from __future__ import annotations

import json
from pathlib import Path
from typing import Any

from tunnelsite import __version__
from tunnelsite.io.read.stored import StoredLayers

PROCESSING = "https://stac-extensions.github.io/processing/v1.2.0/schema.json"
COLLECTION = "collection.json"
PROGRAMS = ("tunnelsite", "python")


def processing(stored: StoredLayers) -> dict[str, Any]:
    """Fields of the processing extension, and under a name of our own what it has no field for.

    Arguments: stored, whose run table says versions, plug-ins, inputs with their SHA-256, and settings.
    Source: STAC processing extension 1.2.0: `processing:software` is an object of versions by name, `processing:lineage` free text.
    """
    rows = _run_rows(stored)
    versions = {row["name"]: row["value"] for row in rows if row["kind"] == "version"}
    inputs = [
        {"name": row["name"], "sha256": row["value"].removeprefix("sha256 "), "detail": row["detail"] or ""}
        for row in rows
        if row["kind"] == "input"
    ]
    said = "; ".join(f"{one['name']} (SHA-256 {one['sha256']})" for one in inputs)
    return {
        "processing:software": versions or {"tunnelsite": __version__},
        "processing:version": versions.get("tunnelsite", __version__),
        "processing:datetime": stored.changed,
        "processing:lineage": f"{stored.title}, made of {said}" if said else stored.title,
        "tunnelsite:inputs": inputs,
        "tunnelsite:plug_ins": {
            row["name"].removeprefix("plug-in "): {"package": row["value"], "from": row["detail"] or ""}
            for row in rows
            if row["kind"] == "version" and row["name"].startswith("plug-in ")
        },
        "tunnelsite:settings": {row["name"]: row["value"] for row in rows if row["kind"] == "setting"},
    }


def _run_rows(stored: StoredLayers) -> list[dict[str, str]]:
    """The rows of the run table, as text; none where the file has no such table."""
    run = stored.tables.get("run")
    names = ("kind", "name", "value", "detail")
    if run is None or not {"kind", "name", "value"} <= set(run.columns):
        return []
    count = len(run.columns["kind"].values)
    columns = [run.columns[name].values if name in run.columns else [None] * count for name in names]
    return [
        {name: "" if value is None else str(value) for name, value in zip(names, row, strict=True)}
        for row in zip(*columns, strict=True)
    ]


def collection_text(item: dict[str, Any], stored: StoredLayers) -> str:
    """A collection of this one item, by relative links, so that the folder can be moved as it is.

    Source: STAC Collection 1.1.0. The licence of what was made is the maker's to state: `other`.
    """
    box = item.get("bbox") or [-180.0, -90.0, 180.0, 90.0]
    time = item["properties"]["datetime"]
    found = {
        "type": "Collection",
        "stac_version": item["stac_version"],
        "id": item["collection"],
        "title": stored.title,
        "description": item["properties"]["description"],
        "license": "other",
        "keywords": ["high tunnel", "greenhouse", "site suitability"],
        "extent": {"spatial": {"bbox": [box]}, "temporal": {"interval": [[time, time]]}},
        "summaries": {"processing:version": [item["properties"]["processing:version"]]},
        "links": [
            {"rel": "root", "href": f"./{COLLECTION}", "type": "application/json"},
            {"rel": "item", "href": "./item.json", "type": "application/geo+json"},
        ],
    }
    return json.dumps(found, ensure_ascii=True, allow_nan=False, indent=1) + "\n"


def check_collection(path: Path) -> None:
    """Errors: OSError unless the collection reads back with all that a collection needs."""
    missing = {"type", "stac_version", "id", "description", "license", "extent", "links"} - set(
        json.loads(path.read_text("utf-8"))
    )
    if missing:
        raise OSError(f"read back, the collection lacks {', '.join(sorted(missing))}")
