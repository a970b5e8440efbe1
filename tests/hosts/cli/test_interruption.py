"""Ctrl-C and its kin in the middle of a run, as a process of its own meets them.

What is promised is 3 s (docs/security.md), by the clock, less what the run waited for a core on a busy machine, as Linux counts it: a run
that hangs without doing anything waits for no core. Without the thread that ends the process a kernel below runs for hours.
"""

from __future__ import annotations

import contextlib
import os
import shutil
import signal
import subprocess
import sys
import textwrap
import threading
import time
from collections.abc import Iterator
from pathlib import Path

import numpy as np
import pytest
import shapely
from rasterio.transform import Affine

from tests.running import has_ended
from tests.whole_run.files import NORTH, UTM17, WEST, gentle, plain_farm, write_dem, write_parcels
from tunnelsite.core.ending import OF_THIS_RUN, Ending, taken_away
from tunnelsite.hosts.cli.main import main

ROOT = Path(__file__).resolve().parents[3]
BOUND_S = 3.0
LARGE = 6000

pytestmark = pytest.mark.skipif(os.name != "posix", reason="signals of POSIX")


def waits_s(process_id: int) -> dict[str, float]:
    """Seconds that each thread of a process has waited for a core (proc(5), schedstat); none where the system does not tell."""
    found = {}
    for path in Path(f"/proc/{process_id}/task").glob("*/schedstat"):
        with contextlib.suppress(OSError, IndexError, ValueError):
            found[path.parent.name] = int(path.read_text().split()[1]) / 1e9
    return found


class Run:
    """A running command. Attributes: said, every line of stderr so far."""

    def __init__(self, folder: Path, words: list[str], **variables: str) -> None:
        scratch = folder / "scratch"
        scratch.mkdir(exist_ok=True)
        environment = {**os.environ, "PYTHONPATH": str(ROOT), "TMPDIR": str(scratch), **variables}
        self.process = subprocess.Popen(
            [sys.executable, *words], cwd=folder, env=environment, stdin=subprocess.DEVNULL, stdout=subprocess.PIPE,
            stderr=subprocess.PIPE, text=True, start_new_session=True,
        )  # fmt: skip
        self.said: list[str] = []
        self._listener = threading.Thread(target=self._listen, daemon=True)
        self._listener.start()

    def wait_for(self, word: str, then_s: float = 0.0, most_s: float = 300.0) -> None:
        """Until it has said a word, and a while longer."""
        end = time.monotonic() + most_s
        while word not in "".join(self.said):
            assert self.process.poll() is None and time.monotonic() < end, self.said
            time.sleep(0.01)
        time.sleep(then_s)

    def interrupted(self, number: int) -> tuple[int, float]:
        """(exit status, seconds until the end) once a signal is sent: by the clock, less the longest that a thread waited for a core."""
        before, waited, start = waits_s(self.process.pid), 0.0, time.monotonic()
        self.process.send_signal(number)
        ended = 0
        while not ended and time.monotonic() < start + 60:
            ended, status = os.waitpid(self.process.pid, os.WNOHANG)
            now = {} if ended else waits_s(self.process.pid)
            waited = max([waited, *(seconds - before.get(thread, 0.0) for thread, seconds in now.items())])
            time.sleep(0.01)
        assert ended, self.said
        self.process.returncode = os.waitstatus_to_exitcode(status)
        seconds = time.monotonic() - start - waited
        self._listener.join(5)
        return self.process.returncode, seconds

    def end(self) -> None:
        """For whatever is left of it."""
        with contextlib.suppress(ProcessLookupError):
            os.killpg(self.process.pid, signal.SIGKILL)  # who outlived it would keep the pipe open
        self.process.wait()
        self._listener.join(5)
        self.process.stdout.close()
        self.process.stderr.close()

    def _listen(self) -> None:
        for line in self.process.stderr:
            self.said.append(line)


def contents(folder: Path) -> dict[str, bytes]:
    """Every file in a folder and below, hidden ones too, but for the inputs."""
    return {str(path.relative_to(folder)): path.read_bytes() for path in folder.rglob("*") if path.is_file()}


def screening(*more: str) -> list[str]:
    quick = ["--house", "6x15m", "--azimuths", "8", "--draws", "20"]
    return ["-m", "tunnelsite", "screen", "dem.tif", "parcels.gpkg", *quick, *more]


@pytest.fixture
def started(tmp_path: Path) -> Iterator:
    running: list[Run] = []

    def start(words: list[str], folder: Path = tmp_path, **variables: str) -> Run:
        running.append(Run(folder, words, **variables))
        return running[-1]

    yield start
    for one in running:
        one.end()


@pytest.fixture(scope="module")
def large(tmp_path_factory) -> Path:
    """A folder with a DEM of 36 million cells and a parcel over all of it."""
    folder = tmp_path_factory.mktemp("large")
    r = np.arange(LARGE, dtype=np.float32)[:, None]
    c = np.arange(LARGE, dtype=np.float32)[None, :]
    heights = 200 + 0.006 * c - 0.004 * r + 3 * np.sin(c / 90) * np.cos(r / 70)
    write_dem(folder / "dem.tif", heights, Affine(1, 0, WEST, 0, -1, NORTH), UTM17)
    parcel = shapely.box(WEST + 3, NORTH - LARGE + 3, WEST + LARGE - 3, NORTH - 3)
    write_parcels(folder / "parcels.gpkg", [parcel], UTM17)
    return folder


@pytest.mark.parametrize("stage", ["reading", "light"])
def test_ctrl_c_keeps_the_old_output_and_leaves_nothing(tmp_path: Path, started, stage: str) -> None:
    plain_farm(tmp_path, gentle(300, 400))
    (tmp_path / "s.gpkg").write_bytes(b"old")
    before = contents(tmp_path)
    run = started(screening("--out", "s.gpkg", "--overwrite"))
    run.wait_for(stage)
    status, _ = run.interrupted(signal.SIGINT)
    said = "".join(run.said)
    assert status == 130, said
    assert "interrupted" in said and "Traceback" not in said and not run.process.stdout.read()
    assert contents(tmp_path) == before


RUN = ["-m", "tunnelsite", "run"]
MOMENTS = {
    "reading": (screening("--out", "out/s.gpkg", "--overwrite"), "reading", 0.5, signal.SIGINT),
    "warping": (screening("--out", "out/s.gpkg", "--overwrite"), "local grid", 1.0, signal.SIGTERM),
    "filling": ([*RUN, "filled_ground", "dem.tif", "out/s.tif", "--overwrite"], "hollows", 0.7, signal.SIGINT),
    "horizon": ([*RUN, "season_light", "dem.tif", "out/s.tif", "--overwrite"], "light", 2.0, signal.SIGINT),
    "writing": ([*RUN, "slope", "dem.tif", "out/s.tif", "--overwrite"], "writing", 0.7, signal.SIGTERM),
}


@pytest.mark.parametrize("moment", MOMENTS)
def test_a_large_grid_does_not_keep_ctrl_c_waiting(large: Path, started, moment: str) -> None:
    words, stage, later_s, number = MOMENTS[moment]
    out = large / "out"
    out.mkdir(exist_ok=True)
    for name in ("s.gpkg", "s.tif"):
        (out / name).write_bytes(b"old")
    run = started(words, large)
    run.wait_for(stage, later_s)
    status, seconds = run.interrupted(number)
    assert status == 128 + number and seconds < BOUND_S, (seconds, run.said)
    assert run.said[-1].startswith("tunnelsite: interrupted; every output is whole") and "Traceback" not in run.said
    assert contents(out) == {"s.gpkg": b"old", "s.tif": b"old"} and not list((large / "scratch").iterdir())


def test_ctrl_c_while_kernels_are_compiled(tmp_path: Path, started) -> None:
    plain_farm(tmp_path)
    before = contents(tmp_path)
    cache = tmp_path / "cache"
    run = started([*RUN, "season_light", "dem.tif", "s.tif"], NUMBA_CACHE_DIR=str(cache))
    run.wait_for("light", 2.0)  # it takes several seconds to compile
    status, seconds = run.interrupted(signal.SIGINT)
    assert status == 130 and seconds < BOUND_S, (seconds, run.said)
    assert {name: data for name, data in contents(tmp_path).items() if not name.startswith("cache")} == before


STAMP = {"SOURCE_DATE_EPOCH": "1790000000"}


def here(folder: Path, *more: str) -> None:
    """A whole screening in this process."""
    with pytest.MonkeyPatch.context() as patch, contextlib.chdir(folder):
        for name, value in STAMP.items():
            patch.setenv(name, value)
        assert main([*screening(*more)[2:], "-q"]) == 0


@pytest.fixture(scope="module")
def undisturbed(tmp_path_factory) -> Path:
    """A small farm and what a screening of it writes that nobody interrupts."""
    folder = tmp_path_factory.mktemp("undisturbed")
    plain_farm(folder)
    here(folder, "--out", "s.gpkg")
    return folder


@pytest.mark.parametrize("stage", ["placements", "writing"])
def test_after_ctrl_c_the_same_command_gives_the_same_bytes(tmp_path: Path, started, undisturbed, stage: str) -> None:
    whole = (undisturbed / "s.gpkg").read_bytes()
    for name in ("dem.tif", "parcels.gpkg"):
        shutil.copy(undisturbed / name, tmp_path)
    run = started(screening("--out", "s.gpkg"), **STAMP)
    run.wait_for(stage)
    status, seconds = run.interrupted(signal.SIGINT)
    assert status == 130 and seconds < BOUND_S, (seconds, run.said)
    # there only if it had been put in its place already, and then whole
    left = contents(tmp_path)
    assert left.keys() <= {"dem.tif", "parcels.gpkg", "s.gpkg"} and left.get("s.gpkg", whole) == whole
    here(tmp_path, "--out", "s.gpkg", "--overwrite")
    assert contents(tmp_path)["s.gpkg"] == whole


# A command that is in a kernel for ever, with an output half-written, a child process and a folder of its own. The kernel waits for a
# lock that it holds itself: like a compiled one it lets go of the interpreter and hears no signal, but it takes no core meanwhile.
STUCK = """
    import ctypes, subprocess, sys, time
    from tunnelsite.core.ending import taken_away
    from tunnelsite.hosts.cli import main as command_line, screening as screening_command
    from pathlib import Path
    from tunnelsite.io.write.outputs import output_folder, reserved_outputs
    from tunnelsite.io.write.scratch import temporary_folder
    from tunnelsite.io.write.staging import staged

    library, lock = ctypes.CDLL(None), ctypes.create_string_buffer(256)
    library.pthread_mutex_init(lock, None)
    library.pthread_mutex_lock(lock)

    def demo(given):
        folders = output_folder(Path("new/rasters")), temporary_folder()
        with folders[0], reserved_outputs({"--out": given.out}, [], overwrite=True), folders[1]:
            child = subprocess.Popen(["sleep", "600"])
            try:
                with taken_away(child.kill), staged(given.out, overwrite=True) as temp:
                    temp.write_bytes(b"half")
                    print("stuck", child.pid, file=sys.stderr, flush=True)
                    library.pthread_mutex_lock(lock)
            finally:  # where the signal comes before the kernel has begun; who waits for the pipe would wait for the child
                child.kill()

    screening_command.demo = demo
    sys.argv[1:] = ["demo", "--out", "s.gpkg"]
    sys.exit(command_line.main())
"""


@pytest.mark.parametrize("name", ["SIGINT", "SIGTERM", "SIGHUP"])
def test_a_kernel_that_takes_minutes_is_not_waited_for(tmp_path: Path, started, name: str) -> None:
    (tmp_path / "s.gpkg").write_bytes(b"old")
    run = started(["-c", textwrap.dedent(STUCK)])
    run.wait_for("stuck")
    assert len(contents(tmp_path)) == 4 and any(
        (tmp_path / "scratch").iterdir()
    )  # the old output, the new one, two locks
    number = getattr(signal, name)
    run.process.send_signal(number)  # a second one, as `timeout` sends it, changes nothing
    status, seconds = run.interrupted(number)
    assert status == 128 + number and seconds < BOUND_S, (seconds, run.said)
    assert contents(tmp_path) == {"s.gpkg": b"old"} and not any((tmp_path / "scratch").iterdir())
    assert not (tmp_path / "new").exists()
    assert run.said[1:] == [f"tunnelsite: interrupted; {Ending().kept}.\n"]
    assert has_ended(int(run.said[0].split()[1]))


# A library between that makes something else of the exception, as compilers and parsers do now and then.
SWALLOWED = """
    import sys, time
    from tunnelsite.hosts.cli import main as command_line, screening as screening_command
    from tunnelsite.io.write.staging import write_whole

    def demo(given):
        print("ready", file=sys.stderr, flush=True)
        try:
            time.sleep(600)
        except KeyboardInterrupt:
            {made_of_it}
        write_whole("s.gpkg", "made without what was interrupted", overwrite=True)

    screening_command.demo = demo
    sys.argv[1:] = ["demo"]
    sys.exit(command_line.main())
"""


@pytest.mark.parametrize("made_of_it", ["raise RuntimeError", "pass"])
def test_whatever_a_library_makes_of_it_nothing_is_written(tmp_path: Path, started, made_of_it: str) -> None:
    (tmp_path / "s.gpkg").write_bytes(b"old")
    run = started(["-c", textwrap.dedent(SWALLOWED).format(made_of_it=made_of_it)])
    run.wait_for("ready")
    status, _ = run.interrupted(signal.SIGINT)
    assert status == 130 and run.said[1:] == [f"tunnelsite: interrupted; {Ending().kept}.\n"]
    assert contents(tmp_path) == {"s.gpkg": b"old"}


def test_nobody_who_reads_what_it_says_does_not_hold_it_up(tmp_path: Path) -> None:
    full = "import os, sys; os.set_blocking(2, False)\ntry:\n    while True: os.write(2, b'x' * 4096)\nexcept OSError: os.set_blocking(2, True)\n"
    code = full + textwrap.dedent(STUCK).replace(
        'print("stuck", child.pid, file=sys.stderr, flush=True)', "print(1, flush=True)"
    )
    run = subprocess.Popen(
        [sys.executable, "-c", code], cwd=tmp_path, env={**os.environ, "PYTHONPATH": str(ROOT), "TMPDIR": str(tmp_path)},
        stdout=subprocess.PIPE, stderr=subprocess.PIPE,
    )  # fmt: skip
    try:
        assert run.stdout.readline() == b"1\n"
        run.send_signal(signal.SIGINT)
        assert run.wait(60) == 130
    finally:
        run.kill()
        run.communicate(timeout=60)
    assert not list(tmp_path.iterdir())


def test_what_is_ignored_stays_ignored(tmp_path: Path, started) -> None:
    code = "import signal; signal.signal(signal.SIGHUP, signal.SIG_IGN)" + textwrap.dedent(
        STUCK
    )  # as `nohup` starts it
    run = started(["-c", code])
    run.wait_for("stuck")
    run.process.send_signal(signal.SIGHUP)
    time.sleep(0.5)
    status, seconds = run.interrupted(signal.SIGINT)
    assert status == 130 and seconds < BOUND_S


def test_from_python_no_handler_is_set_and_no_thread_started(tmp_path: Path, monkeypatch, capsys) -> None:
    def demo(given) -> int:
        assert OF_THIS_RUN.get() is not None
        assert {thread.name for thread in threading.enumerate()} == threads
        assert [signal.getsignal(number) for number in numbers] == handlers
        raise KeyboardInterrupt

    numbers = (signal.SIGINT, signal.SIGTERM, signal.SIGHUP)
    handlers = [signal.getsignal(number) for number in numbers]
    threads = {thread.name for thread in threading.enumerate()}
    monkeypatch.setattr("tunnelsite.hosts.cli.screening.demo", demo)
    assert main(["demo"]) == 130
    assert "interrupted; every output is whole" in capsys.readouterr().err
    assert OF_THIS_RUN.get() is None and signal.set_wakeup_fd(-1) == -1


def test_what_was_made_last_is_taken_away_first_and_nothing_else() -> None:
    done: list[str] = []
    with taken_away(lambda: done.append("from Python nothing is kept")):
        pass
    ending = Ending()
    before = OF_THIS_RUN.set(ending)
    try:
        with taken_away(lambda: done.append("lock")):
            with taken_away(lambda: done.append("over")):
                pass
            with taken_away(lambda: 1 / 0), taken_away(lambda: done.append("file")):
                ending.take_away()
    finally:
        OF_THIS_RUN.reset(before)
    assert done == ["file", "lock"]
