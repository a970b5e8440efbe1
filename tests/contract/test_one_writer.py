"""Every output goes through `io/write/staging.py`: whatever else in the package writes, moves or makes files is listed here with its reason.

The source is read, nothing is run; what the commands really do is watched in `tests/hosts/test_every_output.py`.
"""

from __future__ import annotations

import ast
from collections.abc import Iterator
from pathlib import Path

import pytest

PACKAGE = Path(__file__).resolve().parents[2] / "tunnelsite"

# Methods that write or make a file, whatever they are called on.
METHODS = {
    "write_text", "write_bytes", "touch", "mkdir", "makedirs", "symlink_to", "hardlink_to", "savefig", "to_file", "to_csv",
    "to_excel", "to_feather", "to_parquet", "to_netcdf", "to_zarr", "to_raster", "tofile", "savetxt", "savez", "savez_compressed",
    "memmap", "write_dataframe", "write_arrow", "saveas", "truncate", "mkdtemp", "mkstemp", "TemporaryFile", "NamedTemporaryFile",
    "TemporaryDirectory", "copyfile", "copy2", "copytree", "copyfileobj", "fdopen",
}  # fmt: skip
# Functions that do so under a name that other things have as well.
FUNCTIONS = {
    "os.replace", "os.rename", "os.renames", "os.open", "os.link", "os.symlink", "shutil.move", "shutil.copy", "json.dump",
    "pickle.dump", "np.save", "pyogrio.raw.write", "sqlite3.connect", "shutil.copymode",
}  # fmt: skip
OPENERS = ("open", "io.open", "rasterio.open", "gzip.open", "codecs.open", "fiona.open", "zipfile.ZipFile")
READING = {"r", "rb", "rt"}

STAGED = "is handed the temporary file of `staged`"
PARTS = "parts of fetched files, each with its digest, in a hidden folder of the program's own"
SCRATCH = "a file without a name, or in a folder of its own, among the system's temporary files"
NOWHERE = "the null device"
JOB = "the folder of a job of the server, which only its owner sees and which goes when the job goes"
# (module, function, call): why it may
LISTED = {
    (
        "io/write/staging.py",
        "_check_folder",
        "tempfile.TemporaryFile",
    ): "tries whether the folder can be written to; it has no name",
    ("io/write/staging.py", "_put_in_place", "os.open"): STAGED,
    ("io/write/staging.py", "_put_in_place", "shutil.copymode"): STAGED,
    ("io/write/staging.py", "_put_in_place", "os.replace"): "the one place where an output appears",
    ("io/write/staging.py", "_sync_folder", "os.open"): "opens a folder to sync it",
    ("io/write/locks.py", "_acquired", "os.open"): "the lock file beside an output",
    ("io/write/locks.py", "_locked", "sqlite3.connect"): "only asks whether another program holds the database",
    ("io/formats/geopackage.py", "_write_layer", "pyogrio.raw.write"): STAGED,
    ("io/formats/geopackage.py", "_verify", "sqlite3.connect"): STAGED,
    ("io/formats/geopackage_extensions.py", "add_extensions", "sqlite3.connect"): STAGED,
    ("io/formats/geopackage_extensions.py", "_reset_counters", "open"): STAGED,
    ("io/formats/sheets.py", "parquet_bytes", "frame.to_parquet"): "into memory",
    ("io/formats/overviews.py", "levels_beside", "rasterio.open"): STAGED,
    ("io/formats/cog_blocks.py", "cog_by_blocks", "rasterio.open"): STAGED,
    ("io/write/drained_tiles.py", "write_arrays", "zipfile.ZipFile"): "into memory",
    ("io/write/drained_tiles.py", "_array", "archive.open"): "reads a member of an archive",
    ("region/drainage.py", "save", "np.save"): "into memory",
    ("hosts/cli/gis_plugin.py", "_zipped", "zipfile.ZipFile"): "into memory",
    ("io/read/picture.py", "_pixels", "memory.open"): "into memory",
    ("io/formats/overviews.py", "levels_in_memory", "memory.open"): "into memory",
    ("io/write/outputs.py", "make_folder", "folder.mkdir"): "the one place where an output's folder is made",
    ("io/write/scratch.py", "file", "tempfile.TemporaryFile"): SCRATCH,
    ("io/fetch/kept_parts.py", "put", "self.path.parent.mkdir"): PARTS,
    ("io/fetch/kept_parts.py", "put", "self.path.open"): PARTS,
    ("io/held_folder.py", "__init__", "tempfile.mkdtemp"): SCRATCH,
    ("io/held_folder.py", "_lock", "os.open"): "opens a folder to lock it",
    ("io/plain_names.py", "_link", "os.symlink"): "into that folder",
    ("io/plain_names.py", "_link", "os.link"): "into that folder",
    ("io/read/vector_files.py", "read_only", "sqlite3.connect"): "reads only: mode=ro",
    ("io/write/scratch.py", "file", "file.truncate"): SCRATCH,
    ("io/write/scratch.py", "write", "self._file.truncate"): SCRATCH,
    ("io/write/print_page.py", "pdf_of", "source.write_text"): SCRATCH,
    ("io/read/kept_arrays.py", "stored_arrays", "archive.open"): "reads a member of an archive",
    ("hosts/server/plan_files.py", "write_outputs", "?.write_text"): JOB,
    ("io/read/points.py", "read_cloud", "laspy.open"): "reads only",
    ("io/read/points.py", "read_cloud", "laspy.CopcReader.open"): "reads only",
    ("io/fetch/window.py", "write_window", "rasterio.open"): STAGED,
    ("gather/features.py", "_whole_file", "open"): STAGED,
    ("desk/uploads.py", "_open", "open"): STAGED,
    ("desk/uploads.py", "_member", "archive.open"): "reads a member of an archive",
    ("io/write/whole_folder.py", "whole_folder", "part.mkdir"): "a folder beside its place, whose files are staged",
    ("io/write/whole_folder.py", "whole_folder", "os.rename"): "the one place where such a folder appears",
    ("hosts/cli/streams.py", "_tried", "os.open"): NOWHERE,
    ("hosts/cli/streams.py", "ready_streams", "os.open"): NOWHERE,
    ("hosts/cli/streams.py", "ready_streams", "open"): NOWHERE,
    ("hosts/server/application.py", "application", "api.manager.open"): "no file: makes room for jobs",
    ("hosts/server/job.py", "_own_output", "os.fdopen"): "the pipe to the server",
    ("hosts/server/job.py", "_own_output", "os.open"): NOWHERE,
    ("hosts/server/store.py", "accepted", "?.mkdir"): JOB,
    ("hosts/server/staged_inputs.py", "_one", "file.write_bytes"): JOB,
    ("hosts/server/child.py", "__init__", "?.write_text"): JOB,
    ("hosts/server/work.py", "_screened", "?.write_text"): JOB,
}


def _dotted(node: ast.AST) -> str:
    """`a.b.c` of a call's function; what is no plain name is shown as `?`."""
    if isinstance(node, ast.Name):
        return node.id
    return f"{_dotted(node.value)}.{node.attr}" if isinstance(node, ast.Attribute) else "?"


def _mode(call: ast.Call, name: str) -> str:
    """The mode a file is opened with; what is not spelt out counts as writing."""
    given = [word.value for word in call.keywords if word.arg == "mode"] or call.args[0 if _is_method(name) else 1 :][
        :1
    ]
    if not given:
        return "r"
    return str(given[0].value) if isinstance(given[0], ast.Constant) else "?"


def _is_method(name: str) -> bool:
    return name not in OPENERS


def writing_calls(text: str) -> Iterator[tuple[str, str]]:
    """(function, call) of everything in a module's source that writes, moves or makes files, but for what is written to the
    name that `with staged(...) as NAME` gives."""

    def walk(node: ast.AST, function: str, temps: frozenset[str]) -> Iterator[tuple[str, str]]:
        if isinstance(node, ast.FunctionDef | ast.AsyncFunctionDef):
            function = node.name
        if isinstance(node, ast.With):
            temps |= {
                item.optional_vars.id
                for item in node.items
                if isinstance(item.context_expr, ast.Call)
                and _dotted(item.context_expr.func) == "staged"
                and isinstance(item.optional_vars, ast.Name)
            }
        if isinstance(node, ast.Call):
            name = _dotted(node.func)
            last = name.rpartition(".")[2]
            opens = (last == "open" and name != "os.open") or name in OPENERS
            writes = name in FUNCTIONS or last in METHODS or (opens and _mode(node, name) not in READING)
            if name == "memory.open":
                writes = bool(node.keywords)  # rasterio's way to make a file in memory; without a word it reads
            if writes and name.partition(".")[0] not in temps:
                yield function, name
        for child in ast.iter_child_nodes(node):
            yield from walk(child, function, temps)

    yield from walk(ast.parse(text), "", frozenset())


def test_nothing_writes_past_the_one_way_out() -> None:
    found = {
        (str(module.relative_to(PACKAGE)), *call)
        for module in sorted(PACKAGE.rglob("*.py"))
        for call in writing_calls(module.read_text("utf-8"))
    }
    assert found - LISTED.keys() == set(), (
        "a new way to write: go through io/write/staging.py, or list it with its reason"
    )
    assert LISTED.keys() - found == set(), "listed, but gone"


@pytest.mark.parametrize(
    ("text", "count"),
    [
        ("open(path, 'w')", 1),
        ("open(path, mode='ab')", 1),
        ("open(path, how)", 1),
        ("path.open('x')", 1),
        ("rasterio.open(path, 'r+')", 1),
        ("open(path)", 0),
        ("open(path, 'rb')", 0),
        ("path.open()", 0),
        ("rasterio.open(path, driver='GTiff')", 0),
        ("frame.to_file(path)", 1),
        ("Path(a).write_text('x')", 1),
        ("figure().savefig('a.png')", 1),
        ("os.replace(a, b)", 1),
        ("text.replace('a', 'b')", 0),
        ("with staged(a, overwrite=True) as temp:\n    temp.write_bytes(b'')", 0),
        ("with staged(a, overwrite=True) as temp:\n    other.write_bytes(b'')", 1),
        ("with opened(a) as temp:\n    temp.write_bytes(b'')", 1),
    ],
)
def test_the_reader_of_sources_sees_what_it_should(text: str, count: int) -> None:
    assert len(list(writing_calls(text))) == count
