"""Every kind of file at every call that touches the disk, on a full disk, and killed: old or new, whole, and nothing beside it."""

from __future__ import annotations

import hashlib
import json
import os
import random
import subprocess
import sys
import tempfile
import textwrap
import time
from pathlib import Path

import pyogrio
import pytest

from tests.io.faults import Faults, folder_state
from tests.io.formats.test_geopackage_faults import kill
from tests.io.writers import writers
from tunnelsite.core.errors import OutputFailed
from tunnelsite.io.write import locks

pytest.importorskip("ezdxf", reason="drawings need the extra `dxf`")
pytest.importorskip("pyarrow", reason="Parquet needs the extra `parquet`")

ROOT = Path(__file__).resolve().parents[2]
WRITERS = writers()
SWEPT_ELSEWHERE = {"sites.gpkg", "layer.tif"}  # with their drivers' calls: test_geopackage_faults.py, test_cog.py
needs_posix = pytest.mark.skipif(os.name != "posix", reason="limits and signals of POSIX")


def written(name: str, folder: Path) -> bytes:
    WRITERS[name](folder / name, 0)
    return (folder / name).read_bytes()


@pytest.mark.parametrize("name", [name for name in WRITERS if name not in SWEPT_ELSEWHERE])
def test_every_call_in_turn_fails(tmp_path, monkeypatch, name) -> None:
    """Whichever call of open, fsync, replace, scandir, lstat or of a reader that checks what was written."""
    (tmp_path / "good").mkdir()
    (tmp_path / "out").mkdir()
    good, path, hits = written(name, tmp_path / "good"), tmp_path / "out" / name, set()
    for fail_at in range(1, 100):
        path.write_bytes(b"old")
        faults = Faults(fail_at)
        with monkeypatch.context() as patch:
            faults.wrap_files(patch)
            faults.wrap(patch, pyogrio, "read_info")
            failed = ""
            try:
                WRITERS[name](path, 0)
            except OutputFailed as problem:
                failed = str(problem)
        assert folder_state(path.parent) == {name: b"old" if failed else good}, faults.hit
        assert not failed or ("Expected: " in failed and "Fix: " in failed)
        hits.add(faults.hit)
        if not faults.hit:
            break
    assert not faults.hit and hits >= {"replace", "fsync", "open", "scandir", "lstat"} and fail_at > 8


@pytest.mark.parametrize("name", WRITERS)
def test_a_disk_that_keeps_something_else_is_found_out(tmp_path, monkeypatch, name) -> None:
    """The file is cut by a byte between writing and reading back."""
    (tmp_path / name).write_bytes(b"old")
    lost, write_bytes = [], Path.write_bytes

    def forgetful(path: Path, data) -> int:
        lost.append(path)
        return write_bytes(path, bytes(data)[:-1])

    with monkeypatch.context() as patch:
        patch.setattr(Path, "write_bytes", forgetful)
        if name == "sites.gpkg":
            write = pyogrio.raw.write
            patch.setattr(
                pyogrio.raw, "write", lambda path, *a, **o: (write(path, *a, **o), lost.append(path), _cut(path))
            )
        with pytest.raises(OutputFailed):
            WRITERS[name](tmp_path / name, 0)
    assert lost and folder_state(tmp_path) == {name: b"old"}


def _cut(path: str) -> None:
    os.truncate(path, os.stat(path).st_size - 1)


@pytest.mark.parametrize("name", WRITERS)
def test_locked_by_another_run_and_in_the_way(tmp_path, name) -> None:
    """A second run is refused while the first writes; a folder in place of the file is never replaced."""
    from tunnelsite.io.write.staging import _hidden

    path = tmp_path / name
    path.write_bytes(b"old")
    with (
        locks.exclusive_lock(path.with_name(f"{_hidden(path)}.write-lock"), path),
        pytest.raises(OutputFailed, match="another run"),
    ):
        WRITERS[name](path, 0)
    assert folder_state(tmp_path) == {name: b"old"}
    path.unlink()
    path.mkdir()
    with pytest.raises(OutputFailed, match="is a folder"):
        WRITERS[name](path, 0)
    assert list(tmp_path.iterdir()) == [path] and list(path.iterdir()) == []


@needs_posix
@pytest.mark.parametrize("name", WRITERS)
def test_a_read_only_folder(name) -> None:
    with tempfile.TemporaryDirectory() as folder:  # not tmp_path: others cannot enter pytest's folders
        path = Path(folder) / name
        path.write_bytes(b"old")
        os.chmod(folder, 0o555)
        root = os.geteuid() == 0
        try:
            if root:
                os.seteuid(65534)  # modes do not bind root
            with pytest.raises(OutputFailed, match="cannot be written to"):
                WRITERS[name](path, 0)
        finally:
            if root:
                os.seteuid(0)
            os.chmod(folder, 0o755)
        assert folder_state(Path(folder)) == {name: b"old"}


# --- disk full

LIMITED = """
    import json, resource, signal, sys
    from pathlib import Path
    from tests.io.faults import folder_state
    from tests.io.writers import writers
    from tunnelsite.core.errors import OutputFailed
    signal.signal(signal.SIGXFSZ, signal.SIG_IGN)
    folder, told = Path(sys.argv[1]), {}
    for name, write in writers().items():
        write(folder / name, 1)
        size = (folder / name).stat().st_size
        for limit in (0, size // 2, size - 1, 4 * size):
            (folder / name).write_bytes(b"old")
            resource.setrlimit(resource.RLIMIT_FSIZE, (limit, resource.RLIM_INFINITY))
            try:
                write(folder / name, 1)
                said = ""
            except OutputFailed as problem:
                said = str(problem)
            resource.setrlimit(resource.RLIMIT_FSIZE, (resource.RLIM_INFINITY, resource.RLIM_INFINITY))
            state = folder_state(folder)
            told.setdefault(name, []).append([said, list(state), len(state.get(name, b"")), size])
        (folder / name).unlink()
    print(json.dumps(told))
"""
FULL = """
    import json, subprocess, sys
    from pathlib import Path
    folder = Path(sys.argv[1])
    subprocess.run(["mount", "-t", "tmpfs", "-o", "size=28k", "tmpfs", folder], check=True)
    from tests.io.faults import folder_state
    from tests.io.writers import writers
    from tunnelsite.core.errors import OutputFailed
    from tunnelsite.io.write import staging
    made = writers()
    check, told = staging._check_space, {}
    for name, write in made.items():
        for late in (False, True):
            staging._check_space = (lambda target, need_bytes: None) if late else check  # as if the need were underestimated
            (folder / name).write_bytes(b"old")
            (folder / "ballast").write_bytes(bytes(20_000))
            try:
                write(folder / name, 1)
                said = ""
            except OutputFailed as problem:
                said = str(problem)
            (folder / "ballast").unlink()
            state = folder_state(folder)
            told.setdefault(name, []).append([said, list(state), state[name] == b"old"])
            (folder / name).unlink()
    print(json.dumps(told))
"""


def in_another_process(code: str, *arguments: object, prefix: tuple[str, ...] = ()) -> dict:
    command = [*prefix, sys.executable, "-c", textwrap.dedent(code), *map(str, arguments)]
    done = subprocess.run(command, capture_output=True, text=True, cwd=ROOT, timeout=300, check=False)
    assert done.returncode == 0, done.stderr
    return json.loads(done.stdout)


@needs_posix
def test_output_01_files_that_cannot_grow(tmp_path) -> None:
    """A limit on the size of files makes every write beyond it fail, as a full disk does; needs no privilege."""
    for name, runs in in_another_process(LIMITED, tmp_path).items():
        assert [bool(said) for said, *_ in runs] == [True, True, True, False], (name, runs)
        for said, names, length, size in runs:
            assert names == [name] and length == (3 if said else size), (name, said)
            assert not said or "no room" in said or "no lock" in said or "could not be written" in said, said


def test_output_01_a_disk_that_is_really_full(tmp_path) -> None:
    unshare = ("unshare", "--user", "--map-root-user", "--mount")
    try:
        subprocess.run([*unshare, "mount", "-t", "tmpfs", "tmpfs", tmp_path], check=True, capture_output=True)
    except (OSError, subprocess.CalledProcessError):
        pytest.skip("no user namespaces to mount a small disk in; the limit on file size covers the same calls")
    failed = 0
    for name, runs in in_another_process(FULL, tmp_path, prefix=unshare).items():
        for said, names, is_old in runs:
            assert names == [name] and is_old == bool(said), (name, said)
            assert not said or ("no room for" in said and "needed" in said and "free" in said), (name, said)
            failed += bool(said)
    assert failed > len(WRITERS)  # some are small enough to fit


# --- output-03: killed

WITHOUT_END = """
    import os, signal, sys
    from pathlib import Path
    from tests.io.writers import writers
    signal.signal(signal.SIGCHLD, signal.SIG_IGN)  # the killed leave no zombies
    made = writers()
    for line in sys.stdin:
        path = Path(line.strip())
        child = os.fork()
        while child == 0:
            for which in (0, 1):
                made[path.name](path, which)
        print(child, flush=True)
"""
KILLED = (
    "page.html",
    "layer.tif",
    "table.csv",
    "sheet.dxf",
    "sheet.html",
    "handed-kml.kml",
    "handed-geoparquet.parquet",
)


@needs_posix
def test_output_03_killed_at_random_moments(tmp_path) -> None:
    """A writer that never stops is killed: the file is one of the two wholes, and the next run clears up what was left."""
    chance, leftovers = random.Random(20240229), 0
    command = [sys.executable, "-c", textwrap.dedent(WITHOUT_END)]
    with subprocess.Popen(command, stdin=subprocess.PIPE, stdout=subprocess.PIPE, text=True, cwd=ROOT) as endless:
        for name in KILLED:
            wholes = set()
            for which in (0, 1):
                WRITERS[name](tmp_path / name, which)
                wholes.add(hashlib.sha256((tmp_path / name).read_bytes()).hexdigest())
            for number in range(4):
                path = tmp_path / f"{name}-{number}" / name
                path.parent.mkdir()
                WRITERS[name](path, 0)
                print(path, file=endless.stdin, flush=True)
                writer = int(endless.stdout.readline())
                time.sleep(chance.uniform(0.0, 0.12))
                kill(writer)
                state = folder_state(path.parent)
                assert hashlib.sha256(state[name]).hexdigest() in wholes, name
                leftovers += len(state) - 1
                WRITERS[name](path, 0)
                assert list(folder_state(path.parent)) == [name]
        endless.stdin.close()
    assert leftovers > 0  # else the moments were not in the middle of anything
