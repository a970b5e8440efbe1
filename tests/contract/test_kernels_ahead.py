"""The build hook: kernels compiled while the wheel is built, and used where it is installed."""

from __future__ import annotations

import importlib.util
import os
import subprocess
import sys
from pathlib import Path
from types import SimpleNamespace

import pytest

pytest.importorskip("hatchling", reason="runs the build hook; it is in the test extra")
ROOT = Path(__file__).parents[2]
ONE = """
import numba
@numba.njit(cache=True)
def one(a):
    return a + 1
one(1)
print(sum(one.stats.cache_hits.values()))
"""


def loaded(name: str):
    spec = importlib.util.spec_from_file_location(name, ROOT / f".ci/{name}.py")
    module = importlib.util.module_from_spec(spec)
    spec.loader.exec_module(module)
    return module


@pytest.fixture
def ahead():
    return loaded("kernels_ahead")


@pytest.fixture
def hook(ahead):
    warned: list[str] = []
    hook = ahead.KernelsAhead(str(ROOT), {}, None, None, "", "wheel", SimpleNamespace(display_warning=warned.append))
    return SimpleNamespace(hook=hook, warned=warned)


def test_numba_is_fetched_for_a_wheel_and_not_for_an_editable_install(monkeypatch) -> None:
    monkeypatch.chdir(ROOT)
    backend = loaded("build_backend")

    def has_numba(needs: list[str]) -> bool:
        return any(one.startswith("numba>=") for one in needs)

    assert has_numba(backend.get_requires_for_build_wheel())
    assert not has_numba(backend.get_requires_for_build_editable()) and not has_numba(
        backend.get_requires_for_build_sdist()
    )
    assert callable(backend.build_wheel) and callable(backend.build_editable) and callable(backend.build_sdist)


def test_compiled_kernels_go_beside_their_source_in_the_wheel(ahead, hook, monkeypatch) -> None:
    def compiled(folder: str) -> None:
        assert not list(Path(folder).rglob("__pycache__")), "a developer's old kernels would go along"
        cache = Path(folder, "tunnelsite/kernels/water/__pycache__")
        cache.mkdir()
        (cache / "flow._rings-87.py311.nbi").touch()

    monkeypatch.setattr(ahead, "compile_in", compiled)
    data: dict = {"force_include": {}}
    hook.hook.initialize("standard", data)
    assert list(data["force_include"].values()) == ["tunnelsite/kernels/water/__pycache__/flow._rings-87.py311.nbi"]
    (made,) = map(Path, data["force_include"])
    assert made.exists() and not hook.warned
    hook.hook.finalize("standard", data, "")
    assert not made.exists()


def test_a_wheel_without_kernels_is_built_with_a_warning(ahead, hook, monkeypatch) -> None:
    monkeypatch.setattr(
        ahead.subprocess, "Popen", lambda *_, **__: SimpleNamespace(wait=lambda *_: 1, kill=lambda: None)
    )
    data: dict = {"force_include": {}}
    hook.hook.initialize("standard", data)
    hook.hook.finalize("standard", data, "")
    assert data["force_include"] == {}
    assert "first start" in hook.warned[0]


def test_an_editable_install_compiles_nothing(ahead, hook, monkeypatch) -> None:
    monkeypatch.setattr(ahead, "compile_in", lambda folder: pytest.fail("compiled"))
    data: dict = {"force_include": {}}
    hook.hook.initialize("editable", data)
    hook.hook.finalize("editable", data, "")
    assert data == {"force_include": {}}


def test_numba_uses_a_kernel_that_was_compiled_elsewhere(tmp_path) -> None:
    """As a wheel's installer leaves it: in another folder, its source as new as the moment."""
    from numba.core import caching

    if not hasattr(caching, "_hash_source_file"):
        pytest.skip("this release of numba goes by the time of the source: there the first start compiles anew")
    environment = {name: value for name, value in os.environ.items() if not name.startswith("NUMBA_")}
    hits = []
    for place in ("built", "installed"):
        (tmp_path / place).mkdir()
        source = tmp_path / place / "one.py"
        source.write_text(ONE)
        os.utime(source, (1e9 + len(hits), 1e9))
        if hits:
            (tmp_path / "built/__pycache__").rename(tmp_path / place / "__pycache__")
        run = subprocess.run([sys.executable, source], env=environment, check=True, capture_output=True, text=True)
        hits.append(int(run.stdout))
    assert hits == [0, 1]
