import os
import signal
import subprocess
import sys
from pathlib import Path
from types import SimpleNamespace

import pytest

from tunnelsite.hosts.cli.main import main
from tunnelsite.io import held_folder
from tunnelsite.io.held_folder import HeldFolder, take_away_left
from tunnelsite.io.write.scratch import temporary_folder

ROOT = Path(__file__).resolve().parents[2]
pytestmark = pytest.mark.skipif(sys.platform == "win32", reason="folders have no lock there")

# a process in the middle of it: a folder with a file and one with a link out of it
WORKING = """
import sys
from pathlib import Path
from tunnelsite.io.held_folder import HeldFolder
files, links = HeldFolder("files", sys.argv[1]), HeldFolder("links", sys.argv[1])
(files.path / "half").write_text("half")
(links.path / "folder").symlink_to(sys.argv[2])
print("ready", flush=True)
sys.stdin.read()
"""


def test_a_folder_goes_when_it_is_removed_and_not_what_a_link_leads_to(tmp_path: Path) -> None:
    mine = tmp_path / "mine"
    mine.mkdir()
    (mine / "dem.tif").write_text("heights")
    folder = HeldFolder("links", str(tmp_path))
    (folder.path / "folder").symlink_to(mine)
    assert folder.path.stat().st_mode & 0o077 == 0
    folder.remove()
    folder.remove()
    assert not folder.path.exists() and (mine / "dem.tif").read_text() == "heights"


def test_what_a_killed_process_left_goes_and_what_a_living_one_holds_stays(tmp_path: Path) -> None:
    place, mine = tmp_path / "tmp", tmp_path / "mine"
    place.mkdir()
    mine.mkdir()
    (mine / "dem.tif").write_text("heights")
    (place / "tunnelsite-run-not-ours").symlink_to(mine)
    command = [sys.executable, "-c", WORKING, str(place), str(mine)]
    with subprocess.Popen(command, stdin=subprocess.PIPE, stdout=subprocess.PIPE, cwd=ROOT) as process:
        assert process.stdout is not None and process.stdout.readline() == b"ready\n"
        take_away_left([str(place), str(tmp_path / "missing")])
        assert len(list(place.iterdir())) == 3
        process.send_signal(signal.SIGKILL)
        process.wait()
    take_away_left([str(place)])
    assert [entry.name for entry in place.iterdir()] == ["tunnelsite-run-not-ours"]
    assert (mine / "dem.tif").read_text() == "heights"


def test_every_command_looks_for_what_was_left(tmp_path: Path, monkeypatch: pytest.MonkeyPatch) -> None:
    left = tmp_path / "tunnelsite-run-links-0123abcd"
    left.mkdir()
    monkeypatch.setattr(held_folder.tempfile, "tempdir", str(tmp_path))
    assert main(["processes"]) == 0
    assert not left.exists()


def test_a_folder_taken_for_one_that_was_left_is_made_again(tmp_path: Path, monkeypatch: pytest.MonkeyPatch) -> None:
    """Another command may look between the making of a folder and its lock."""
    lock, seen = held_folder._lock, []

    def late(folder: Path) -> int | None:
        seen.append(folder)
        if len(seen) == 1:
            take_away_left([str(tmp_path)])  # takes the lock itself, as `seen` is longer by then
        return lock(folder)

    monkeypatch.setattr(held_folder, "_lock", late)
    folder = HeldFolder("files", str(tmp_path))
    assert folder.path.is_dir() and folder.path != seen[0] and not seen[0].exists()
    folder.remove()


def test_a_temporary_folder_is_held_and_goes(tmp_path: Path, monkeypatch: pytest.MonkeyPatch) -> None:
    monkeypatch.setattr(held_folder.tempfile, "tempdir", str(tmp_path))
    with temporary_folder() as folder:
        take_away_left([str(tmp_path)])
        assert os.listdir(tmp_path) == [Path(folder).name]
    assert os.listdir(tmp_path) == []


def test_on_windows_a_file_that_is_open_holds_the_folder(tmp_path: Path, monkeypatch: pytest.MonkeyPatch) -> None:
    """Windows removes no file that is open in any process; here by the rule alone, for the files of this process."""
    remove = os.remove

    def refused(path: Path) -> None:
        if any(os.path.samefile(f"/proc/self/fd/{one}", path) for one in os.listdir("/proc/self/fd") if _open(one)):
            raise PermissionError(13, "the file is open in another process", str(path))
        remove(path)

    def _open(number: str) -> bool:
        return os.path.exists(f"/proc/self/fd/{number}")

    monkeypatch.setattr(held_folder, "sys", SimpleNamespace(platform="win32"))
    monkeypatch.setattr(held_folder.os, "remove", refused)
    mine, killed, done = (HeldFolder("files", str(tmp_path)) for _ in range(3))
    (killed.path / "half").write_text("half")
    (tmp_path / "tunnelsite-run-files-being-made").mkdir()
    assert killed._lock is not None
    os.close(killed._lock)  # as the system does for a process that is killed
    done.remove()
    done.remove()
    take_away_left([str(tmp_path)])
    assert sorted(os.listdir(tmp_path)) == sorted([mine.path.name, "tunnelsite-run-files-being-made"])
    mine.remove()
    assert not mine.path.exists()
