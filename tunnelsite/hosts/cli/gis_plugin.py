"""`gis-plugin`: the tools for the processing toolbox of QGIS, as a folder of its plug-ins or as a zip file."""

from __future__ import annotations

import argparse
import io
import json
import sys
import zipfile
from importlib.resources import files
from pathlib import Path

from tunnelsite.core.errors import UsageError
from tunnelsite.hosts.cli.streams import say
from tunnelsite.io.write.outputs import make_folder
from tunnelsite.io.write.staging import write_whole

FOLDER = "tunnelsite_tools"  # the plug-in's own name among others
EPOCH = (2020, 1, 1, 0, 0, 0)  # of the files in the zip: the same content gives the same bytes


def gis_plugin(given: argparse.Namespace) -> int:
    """Write the plug-in, which calls the program that wrote it."""
    if (given.install is None) == (given.zip is None):
        raise UsageError("gis-plugin needs one place to write to", "--install DIR or --zip FILE", "give one of the two")
    found = plugin_files()
    if given.zip is not None:
        write_whole(given.zip, _zipped(found), overwrite=given.overwrite)
        say(f"Written to {given.zip}. In QGIS: Plugins, Manage and Install Plugins, Install from ZIP.")
        return 0
    target = Path(given.install) / FOLDER
    if not target.parent.is_dir():
        raise UsageError(
            f"--install is {given.install}",
            "the folder that holds the plug-ins of QGIS",
            "check the path, or make the folder",
        )
    make_folder(target)
    for name, content in found.items():
        write_whole(target / name, content, overwrite=True)
    say(
        f"Installed in {target}. Start QGIS again and switch on `tunnelsite tools` under Plugins; the tools are in the processing toolbox."
    )
    return 0


def plugin_files() -> dict[str, bytes]:
    """The files of the plug-in by name, with the words that start this very program."""
    source = files("tunnelsite.hosts.gis") / "plugin"
    found = {
        item.name: item.read_bytes() for item in sorted(source.iterdir(), key=lambda item: item.name) if item.is_file()
    }
    found["LICENSE.txt"] = b"GPL-3.0-or-later, as tunnelsite itself.\n"
    found["program.json"] = json.dumps({"command": [sys.executable, "-m", "tunnelsite"]}, indent=2).encode() + b"\n"
    return found


def _zipped(found: dict[str, bytes]) -> bytes:
    packed = io.BytesIO()
    with zipfile.ZipFile(packed, "w", zipfile.ZIP_DEFLATED) as archive:
        for name, content in found.items():
            archive.writestr(zipfile.ZipInfo(f"{FOLDER}/{name}", EPOCH), content)
    return packed.getvalue()
