"""What numba keeps of kernels: what cannot be read, or not be written, ends no run."""

from __future__ import annotations

import errno
import importlib.util
import pickle
import subprocess
import sys
from collections.abc import Iterator
from pathlib import Path

import numba
import numpy as np
import pytest

SOURCE = """
from tunnelsite.kernels.compiled import njit

@njit(cache=True, nogil=True, error_model="numpy", no_cfunc_wrapper=True)
def more(value):
    return value + 1
"""


@pytest.fixture
def module_file(tmp_path: Path) -> Iterator[Path]:
    path = tmp_path / "small_kernel.py"
    path.write_text(SOURCE)
    yield path
    sys.modules.pop("small_kernel", None)


def fresh(path: Path):
    """The kernel as a new process finds it."""
    spec = importlib.util.spec_from_file_location("small_kernel", path)
    module = importlib.util.module_from_spec(spec)
    sys.modules["small_kernel"] = module
    spec.loader.exec_module(module)
    return module.more


def kept(path: Path, ending: str) -> Path:
    [found] = path.parent.rglob(f"*.{ending}")
    return found


def hits(kernel) -> int:
    return sum(kernel.stats.cache_hits.values())


def gone(module: str, name: str) -> bytes:
    """A pickle of a class that was renamed, or whose module moved, since it was kept."""
    return f"c{module}\n{name}\n.".encode()


@pytest.mark.parametrize(
    "index",
    [
        gone("tunnelsite.core.grid", "ClassOfBefore"),
        gone("tunnelsite.module_of_before", "Grid"),
        pickle.dumps(("stamp", {}))[:-3],
        b"",
        b"\x80\x05not a pickle",
    ],
)
def test_an_index_that_cannot_be_read_is_thrown_away(module_file: Path, index: bytes) -> None:
    assert fresh(module_file)(1) == 2
    path = kept(module_file, "nbi")
    path.write_bytes(pickle.dumps(numba.__version__) + index)
    again = fresh(module_file)
    assert again(1) == 2 and hits(again) == 0
    third = fresh(module_file)
    assert third(1) == 2 and hits(third) == 1, "what was compiled anew is kept"


@pytest.mark.parametrize("data", [gone("tunnelsite.core.grid", "ClassOfBefore"), b""])
def test_a_kernel_that_cannot_be_read_is_compiled_anew(module_file: Path, data: bytes) -> None:
    assert fresh(module_file)(1) == 2
    kept(module_file, "nbc").write_bytes(data)
    again = fresh(module_file)
    assert again(1) == 2 and hits(again) == 0
    third = fresh(module_file)
    assert third(1) == 2 and hits(third) == 1


def test_a_full_disk_ends_no_run(module_file: Path, monkeypatch: pytest.MonkeyPatch) -> None:
    def full(self, key, data) -> None:
        raise OSError(errno.ENOSPC, "No space left on device")

    monkeypatch.setattr("numba.core.caching.IndexDataCacheFile.save", full)
    assert fresh(module_file)(1) == 2 and not list(module_file.parent.rglob("*.nbi"))


def test_what_is_kept_by_another_user_and_cannot_be_read_is_left_alone(
    module_file: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    def refused(self, overloads) -> None:
        raise PermissionError(errno.EACCES, "Permission denied")

    assert fresh(module_file)(1) == 2
    path = kept(module_file, "nbi")
    path.write_bytes(pickle.dumps(numba.__version__) + b"cut")
    before = path.read_bytes()
    monkeypatch.setattr("numba.core.caching.IndexDataCacheFile._save_index", refused)
    assert fresh(module_file)(1) == 2 and path.read_bytes() == before


def test_every_kernel_is_compiled_through_it() -> None:
    package = Path(__file__).parents[2] / "tunnelsite"
    ways = ("from numba import njit", "numba.njit(")
    direct = [path.name for path in package.rglob("*.py") if any(way in path.read_text("utf-8") for way in ways)]
    assert direct == ["compiled.py"]


@pytest.mark.parametrize("then", ["", "assert numba.njit(lambda: more(np.ones(3)).sum())() == 6;"])
def test_a_kept_kernel_needs_no_compiler(module_file: Path, then: str) -> None:
    """It is loaded without what numba loads to compile; and can still be called by what is compiled afterwards."""
    more = fresh(module_file)
    more(1)
    more(np.ones(3))
    code = (
        "import sys; import numba; import numpy as np; from small_kernel import more;"
        "assert more(1) == 2 and more(np.ones(3)).sum() == 6 and sum(more.stats.cache_hits.values()) == 2;"
        f"print('numba.np.arraymath' in sys.modules);{then}"
    )
    done = subprocess.run([sys.executable, "-c", code], capture_output=True, text=True, cwd=module_file.parent)
    assert (done.returncode, done.stdout.strip()) == (0, "False"), done.stderr
