"""Whatever fails while a GeoPackage is written: the old one stays whole, and nothing is left beside it."""

from __future__ import annotations

import contextlib
import hashlib
import json
import os
import random
import signal
import subprocess
import sys
import textwrap
import time
from pathlib import Path

import pyogrio
import pyproj
import pytest

from tests.io.faults import Faults, folder_state
from tests.io.formats.test_geopackage import query_and_commit, some_tables, write
from tests.io.geopackage_requirements import broken_requirements
from tunnelsite.core.errors import OutputFailed
from tunnelsite.core.table import Table
from tunnelsite.io.formats import geopackage

ROOT = Path(__file__).resolve().parents[3]


# --- faults


def small_tables() -> dict[str, Table]:
    tables = some_tables()
    return {name: tables[name] for name in ("pads", "run")}


@pytest.mark.parametrize("old", [None, b"old"])
def test_every_call_in_turn_fails(tmp_path, monkeypatch, old):
    """Old or new, whole, with nothing left beside it, whichever call of open, fsync, replace, SQLite or
    the driver fails."""
    write(tmp_path / "good.gpkg", small_tables())
    good, path, hits = (tmp_path / "good.gpkg").read_bytes(), tmp_path / "out" / "sites.gpkg", set()
    path.parent.mkdir()
    for fail_at in range(1, 400):
        path.unlink(missing_ok=True)
        if old is not None:
            path.write_bytes(old)
        faults = Faults(fail_at)
        with monkeypatch.context() as patch:
            faults.wrap_files(patch)
            faults.wrap_sqlite(patch)
            faults.wrap(patch, pyogrio.raw, "write")
            faults.wrap(patch, pyogrio, "read_info")
            patch.setattr(
                geopackage, "transformer", pyproj.Transformer.from_crs
            )  # cached, so it would open files only once
            failed = False
            try:
                write(path, small_tables())
            except OutputFailed:
                failed = True
        expected = ({} if old is None else {"sites.gpkg": old}) if failed else {"sites.gpkg": good}
        assert folder_state(path.parent) == expected, faults.hit
        hits.add(faults.hit.split()[0] if faults.hit else "")
        if not faults.hit:
            break
    assert not faults.hit and hits >= {
        "replace",
        "fsync",
        "open",
        "execute",
        "executescript",
        "executemany",
        "connect",
        "write",
        "read_info",
    }


@pytest.mark.parametrize("damage", ["truncated", "rows", "null", "garbage"])
def test_a_driver_that_writes_less_than_it_was_given_is_found_out(tmp_path, monkeypatch, damage):
    (tmp_path / "sites.gpkg").write_bytes(b"old")
    honest = geopackage.add_extensions

    def dishonest(path, *arguments, **options):
        honest(path, *arguments, **options)
        if damage == "rows":
            query_and_commit(path, "DELETE FROM criteria WHERE id = 'sun'")
        elif damage == "null":
            query_and_commit(path, "UPDATE candidates SET score = NULL WHERE rank = 2")
        elif damage == "truncated":
            os.truncate(path, path.stat().st_size - 8192)
        else:
            data = bytearray(path.read_bytes())
            data[-6000:-2000] = os.urandom(4000)
            path.write_bytes(data)

    monkeypatch.setattr(geopackage, "add_extensions", dishonest)
    with pytest.raises(OutputFailed):
        write(tmp_path / "sites.gpkg")
    assert folder_state(tmp_path) == {"sites.gpkg": b"old"}


# --- output-01: disk full

SWEEP = """
    import json, os, resource, signal, sys
    from pathlib import Path
    from tests.io.faults import folder_state
    from tests.io.formats.test_geopackage import write
    from tunnelsite.core.errors import OutputFailed
    signal.signal(signal.SIGXFSZ, signal.SIG_IGN)
    path, results = Path(sys.argv[1]), []
    for limit in map(int, sys.argv[2:]):
        path.write_bytes(b"old")
        resource.setrlimit(resource.RLIMIT_FSIZE, (limit, resource.RLIM_INFINITY))
        try:
            write(path)
            outcome = "written"
        except OutputFailed as error:
            outcome = str(error)
        resource.setrlimit(resource.RLIMIT_FSIZE, (resource.RLIM_INFINITY, resource.RLIM_INFINITY))
        state = folder_state(path.parent)
        results.append([outcome, list(state), len(state.get(path.name, b""))])
    print(json.dumps(results))
"""


def run_child(code: str, *arguments: object, prefix: tuple[str, ...] = ()) -> str:
    command = [*prefix, sys.executable, "-c", textwrap.dedent(code), *map(str, arguments)]
    return subprocess.run(command, capture_output=True, text=True, check=True, cwd=ROOT, timeout=120).stdout


@pytest.mark.skipif(os.name != "posix", reason="limits of POSIX")
def test_output_01_files_that_cannot_grow_leave_the_old_output(tmp_path):
    """A limit on file size makes every write beyond it fail, as a full disk does, at ever later moments;
    needs no privilege."""
    write(tmp_path / "whole.gpkg")
    size = (tmp_path / "whole.gpkg").stat().st_size
    (tmp_path / "out").mkdir()
    limits = [0, 100, 4096, size // 8, size // 4, size // 2, 3 * size // 4, size - 4096, size - 1, 4 * size]
    results = json.loads(run_child(SWEEP, tmp_path / "out" / "sites.gpkg", *limits))
    for limit, (outcome, names, length) in zip(limits, results, strict=True):
        assert names == ["sites.gpkg"], limit
        assert length == (size if outcome == "written" else 3), limit
    assert [outcome == "written" for outcome, *_ in results] == [False] * 9 + [True]
    assert all(
        "could not be written" in outcome or "no room" in outcome or "no lock" in outcome
        for outcome, *_ in results[:-1]
    )


FULL = """
    import os, subprocess, sys
    from pathlib import Path
    folder = Path(sys.argv[1])
    subprocess.run(["mount", "-t", "tmpfs", "-o", f"size={sys.argv[2]}", "tmpfs", folder], check=True)
    from tests.io.faults import folder_state
    from tests.io.formats import test_geopackage as this
    from tunnelsite.core.errors import OutputFailed
    from tunnelsite.io.formats import geopackage
    (folder / "sites.gpkg").write_bytes(b"old")
    early = late = ""
    try:
        this.write(folder / "sites.gpkg")
    except OutputFailed as error:
        early = str(error)
    assert folder_state(folder) == {"sites.gpkg": b"old"}
    geopackage.DriverTable.bytes_at_most = 0  # as if the need had been underestimated
    try:
        this.write(folder / "sites.gpkg", styles={})
    except OutputFailed as error:
        late = str(error)
    assert folder_state(folder) == {"sites.gpkg": b"old"}
    print(early, late, sep="\\n")
"""


@pytest.mark.parametrize("room_kb", [60, 140])
def test_output_01_a_disk_that_is_really_full(tmp_path, room_kb):
    unshare = ("unshare", "--user", "--map-root-user", "--mount")
    try:
        subprocess.run([*unshare, "mount", "-t", "tmpfs", "tmpfs", tmp_path], check=True, capture_output=True)
    except (OSError, subprocess.CalledProcessError):
        pytest.skip("no user namespaces to mount a small disk in; the limit on file size covers the same calls")
    early, late = run_child(FULL, tmp_path, f"{room_kb}k", prefix=unshare).splitlines()
    for message in (early, late):
        assert "no room for" in message and "needed" in message and "free" in message
    assert "written so far" in late


# --- output-03 and output-15: killed, and two at once

WRITERS = """
    import os, signal, sys
    from pathlib import Path
    from tests.io.formats.test_geopackage import some_tables, write
    signal.signal(signal.SIGCHLD, signal.SIG_IGN)  # the killed leave no zombies
    tables = [some_tables(2), some_tables(400)]
    for line in sys.stdin:
        child = os.fork()
        while child == 0:
            for which in tables:
                write(Path(line.strip()), which)
        print(child, flush=True)
"""


def kill(process: int) -> None:
    os.kill(process, signal.SIGKILL)
    with contextlib.suppress(ProcessLookupError):
        while True:
            os.kill(process, 0)
            time.sleep(0.001)


@pytest.mark.skipif(os.name != "posix", reason="signals of POSIX")
def test_output_03_killed_at_twelve_random_moments(tmp_path):
    """A writer that never stops is killed: the output is one of the two wholes, and the next run clears up
    what was left."""
    wholes = set()
    for count in (2, 400):
        write(tmp_path / "whole.gpkg", some_tables(count))
        wholes.add(hashlib.sha256((tmp_path / "whole.gpkg").read_bytes()).hexdigest())
    chance, leftovers = random.Random(20240229), 0
    command = [sys.executable, "-c", textwrap.dedent(WRITERS)]
    with subprocess.Popen(command, stdin=subprocess.PIPE, stdout=subprocess.PIPE, text=True, cwd=ROOT) as writers:
        for number in range(12):
            path = tmp_path / str(number) / "sites.gpkg"
            path.parent.mkdir()
            write(path, some_tables(2))
            print(path, file=writers.stdin, flush=True)
            writer = int(writers.stdout.readline())
            time.sleep(chance.uniform(0.0, 0.6))
            kill(writer)
            state = folder_state(path.parent)
            assert hashlib.sha256(state["sites.gpkg"]).hexdigest() in wholes
            leftovers += len(state) - 1
            write(path, some_tables(2))
            assert list(folder_state(path.parent)) == ["sites.gpkg"] and broken_requirements(path) == []
        writers.stdin.close()
    assert leftovers > 0  # else the moments were not in the middle of anything


def test_output_15_a_second_run_is_refused_while_the_first_writes(tmp_path, monkeypatch):
    path, refusals = tmp_path / "sites.gpkg", []
    honest = geopackage.add_extensions

    def slow(*arguments, **options):
        with pytest.raises(OutputFailed, match="another run") as caught:
            run_second()
        refusals.append(caught.value)
        honest(*arguments, **options)

    def run_second():
        with monkeypatch.context() as patch:
            patch.setattr(geopackage, "add_extensions", honest)
            write(path)

    monkeypatch.setattr(geopackage, "add_extensions", slow)
    write(path)
    assert len(refusals) == 1 and broken_requirements(path) == [] and list(folder_state(tmp_path)) == ["sites.gpkg"]
