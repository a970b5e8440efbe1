"""Kept runs that are damaged or made to hurt: refused in words, never a traceback, a wrong answer or a run on memory."""

from __future__ import annotations

import io
import json
import zipfile
from pathlib import Path

import numpy as np
import pytest

from tests.whole_run.files import plain_farm
from tunnelsite import read_site, screen
from tunnelsite.core.errors import InputRefused, ResourceShortage, TunnelsiteError
from tunnelsite.core.house import House
from tunnelsite.screening.kept_run import keep_run, kept_run
from tunnelsite.settings.model import settings_from


@pytest.fixture(scope="module")
def kept(tmp_path_factory) -> Path:
    folder = tmp_path_factory.mktemp("kept")
    dem, parcels = plain_farm(folder)
    settings = settings_from({"halo": "5m", "azimuths": 8, "top": 3, "rubric": {"pitch": {"limit": 0.8}}})
    result = screen(read_site(str(dem), str(parcels)), House(5.0, 12.0), settings=settings)
    keep_run(result, folder / "run.npz", overwrite=False)
    return folder / "run.npz"


def _changed(kept: Path, to: Path, arrays=None, about=None) -> Path:
    with np.load(kept) as stored:
        found = {name: stored[name] for name in stored.files}
    if about is not None:
        text = json.loads(found["about"].tobytes())
        about(text)
        found["about"] = np.frombuffer(json.dumps(text).encode(), np.uint8)
    if arrays is not None:
        arrays(found)
    np.savez_compressed(to, **found)
    return to


def _set(name, change):
    def apply(arrays):
        arrays[name] = change(arrays[name])

    return apply


def _drop(name):
    return lambda arrays: arrays.pop(name)


ARRAYS = {
    "index beyond": _set("scan0.index", lambda a: a + 10**9),
    "index before": _set("scan0.index", lambda a: a - 10**9),
    "index falls": _set("scan0.index", lambda a: a[::-1].copy()),
    "index short": _set("scan0.index", lambda a: a[:-1]),
    "index of 2 axes": _set("scan0.index", lambda a: a[None]),
    "index float": _set("scan0.index", lambda a: a.astype(float)),
    "owner beyond": _set("scan0.owner", lambda a: a + 7),
    "owner negative": _set("scan0.owner", lambda a: a - 1),
    "measure short": _set("scan0.measure.pitch", lambda a: a[:-1]),
    "measure missing": _drop("scan0.measure.pitch"),
    "lost beyond": _set("scan0.lost.pitch.index", lambda a: a + 10**9),
    "lost short": _set("scan0.lost.pitch.owner", lambda a: a[:-1]),
    "lost within its limit": _set("scan0.lost.pitch.measure.pitch", np.zeros_like),
    "lost without a measure": _drop("scan0.lost.pitch.measure.water_like"),
    "lost without a place": _drop("scan0.lost.pitch.index"),
    "ground flat": _set("frame0.layer.ground", np.ravel),
    "ground small": _set("frame0.layer.ground", lambda a: a[:5, :5]),
    "ground whole numbers": _set("frame0.layer.ground", lambda a: np.nan_to_num(a).astype(np.int32)),
    "ground missing": _drop("frame0.layer.ground"),
    "inside short": _set("scan0.inside", lambda a: a[:0]),
    "shapes broken": _set("frame0.parcels.wkb", lambda a: np.zeros_like(a)),
    "ends beyond": _set("frame0.parcels.ends", lambda a: a + 100),
    "about missing": _drop("about"),
    "about deep": lambda arrays: arrays.update(about=np.frombuffer(b"[" * 200_000, np.uint8)),
}
ABOUT = {
    "no columns": lambda t: t["frames"][0]["grid"].update(cols=0),
    "other columns": lambda t: t["frames"][0]["grid"].update(cols=7),
    "negative rows": lambda t: t["frames"][0]["grid"].update(rows=-1),
    "cell 0": lambda t: t["frames"][0]["grid"].update(cell_m=0.0),
    "cell nan": lambda t: t["frames"][0]["grid"].update(cell_m=float("nan")),
    "no coordinate system": lambda t: t["frames"][0]["grid"].update(crs_wkt="nonsense"),
    "no such frame": lambda t: t["scans"][0].update(frame=3),
    "frame from behind": lambda t: t["scans"][0].update(frame=-3),
    "no scans": lambda t: t.update(scans=[]),
    "no judges": lambda t: t.update(judges=[]),
    "no names": lambda t: t["frames"][0]["plain"].update(parcel_names=[]),
    "names of numbers": lambda t: t["frames"][0]["plain"].update(parcel_names=[1]),
    "short tallies": lambda t: t["scans"][0]["tallies"].update(pitch=[]),
    "tallies of words": lambda t: t["scans"][0]["tallies"].update(pitch=[["a", "b", "c", "d", "e"]]),
    "a house of no size": lambda t: t["scans"][0]["house"].update(width_m=0.0),
    "another version": lambda t: t.update(format="tunnelsite kept run 1"),
    "unknown setting": lambda t: t["settings"].update(colour="red"),
}


@pytest.mark.parametrize("name", ARRAYS)
def test_wrong_arrays(kept: Path, tmp_path: Path, name: str) -> None:
    with pytest.raises(InputRefused):
        kept_run(_changed(kept, tmp_path / "x.npz", arrays=ARRAYS[name]))


@pytest.mark.parametrize("name", ABOUT)
def test_wrong_text(kept: Path, tmp_path: Path, name: str) -> None:
    with pytest.raises(TunnelsiteError):
        kept_run(_changed(kept, tmp_path / "x.npz", about=ABOUT[name]))


def test_a_header_that_promises_more_than_there_is(kept: Path, tmp_path: Path) -> None:
    header = io.BytesIO()
    np.lib.format.write_array_header_1_0(header, {"descr": "<f4", "fortran_order": False, "shape": (1 << 21, 1 << 20)})
    with zipfile.ZipFile(tmp_path / "x.npz", "w") as archive:
        archive.writestr("about.npy", header.getvalue() + b"\0" * 64)
    with pytest.raises(InputRefused):
        kept_run(tmp_path / "x.npz")


def test_an_archive_that_unpacks_to_more_than_the_memory(tmp_path: Path, monkeypatch) -> None:
    monkeypatch.setattr("tunnelsite.io.read.files.available_bytes", lambda: 1_000_000)
    with zipfile.ZipFile(tmp_path / "x.npz", "w", zipfile.ZIP_DEFLATED) as archive:
        archive.writestr("about.npy", b"\0" * 50_000_000)
    with pytest.raises((ResourceShortage, InputRefused)):
        kept_run(tmp_path / "x.npz")


def test_every_flipped_byte_is_refused_or_harmless(kept: Path, tmp_path: Path) -> None:
    whole, rng = kept.read_bytes(), np.random.default_rng(4)
    same = [(choice.item, choice.score) for choice in kept_run(kept).choices]
    for k in range(40):
        broken = bytearray(whole)
        if k % 4 == 3:
            broken = broken[: rng.integers(1, len(whole))]
        else:
            broken[rng.integers(len(whole))] ^= 1 << rng.integers(8)
        (tmp_path / "x.npz").write_bytes(broken)
        try:
            again = kept_run(tmp_path / "x.npz")
        except (InputRefused, ResourceShortage):
            continue
        assert [(choice.item, choice.score) for choice in again.choices] == same
