"""A finished run kept as one file of arrays, so that it can be ranked again without computing terrain.

The file is a NumPy `.npz` (no pickles, so that opening it runs nothing): arrays, and one JSON text for the rest.
"""

from __future__ import annotations

import dataclasses
import io
import json
import zipfile
from collections.abc import Callable
from pathlib import Path
from typing import TYPE_CHECKING, Any, TypeVar

import numpy as np

from tunnelsite.core.criterion import Criterion, Placements, Truth
from tunnelsite.core.describe import Description, LayerSpec
from tunnelsite.core.errors import InputRefused, ResourceShortage, UsageError
from tunnelsite.core.house import House, Pad
from tunnelsite.core.rubric import Rubric
from tunnelsite.core.site import Frame, Site
from tunnelsite.io.read.files import file_name, sha256
from tunnelsite.io.read.kept_arrays import check_frame, check_scan, stored_arrays
from tunnelsite.io.write.staging import write_whole
from tunnelsite.screening.kept_parts import frame_in, frame_out, site_in, site_out, under
from tunnelsite.settings.model import Settings
from tunnelsite.settings.paths import anchored, relative

if TYPE_CHECKING:
    from tunnelsite.scan.engine import Judge, Scan
    from tunnelsite.screening.not_assessed import Gap
    from tunnelsite.screening.result import Result

Used = TypeVar("Used")
FORMAT = "tunnelsite kept run 3"
OUTPUTS = {"out", "overwrite", "rasters", "keep"}  # where a run was written to is no part of it


def keep_run(result: Result, path: str | Path, *, overwrite: bool = False) -> None:
    """Keep a screening as one file, so that it can be ranked again without computing terrain.

    Args:
        result: of `screen`.
        path: file to write, `.npz`.
        overwrite: whether a file that is there is replaced.

    Raises:
        OutputFailed: where it cannot be written; what was there before stays.
    """
    from tunnelsite.scan.losses import losses

    arrays: dict[str, np.ndarray] = {}
    frames: list[Frame] = []
    scans: list[dict[str, Any]] = []
    for scan in result.scans:
        if not any(scan.frame is known for known in frames):
            frames.append(scan.frame)
        number = next(k for k, known in enumerate(frames) if known is scan.frame)
        key = f"scan{len(scans)}"
        arrays |= {f"{key}.index": scan.index, f"{key}.owner": scan.owner.astype(np.int32)}
        arrays[f"{key}.inside"] = scan.ground.inside
        arrays |= {f"{key}.measure.{name}": values for name, values in scan.measures.items()}
        for name, truth in scan.truths.items():
            arrays |= {f"{key}.mean.{name}": truth.mean, f"{key}.se.{name}": truth.se}
        arrays |= {f"{key}.rejected.{rule}": counts for rule, counts in scan.ground.rejected.items()}
        for rule, lost in losses(scan, result.judges, result.settings.pad_pitch).items():
            arrays |= {f"{key}.lost.{rule}.index": lost.index, f"{key}.lost.{rule}.owner": lost.owner.astype(np.int32)}
            arrays |= {f"{key}.lost.{rule}.measure.{name}": values for name, values in lost.measures.items()}
        tallies = {rule: [dataclasses.astuple(tally) for tally in found] for rule, found in scan.tallies.items()}
        sizes = {"house": dataclasses.asdict(scan.house), "pad": dataclasses.asdict(scan.pad)}
        scans.append({"frame": number, **sizes, "tallies": tallies})
    about = {
        "format": FORMAT,
        "settings": relative(
            result.settings.model_dump(by_alias=True, mode="json", exclude_none=True, exclude=OUTPUTS),
            Path(path).parent,
        ),
        "scans": scans,
        "frames": [frame_out(frame, f"frame{k}", arrays) for k, frame in enumerate(frames)],
        "judges": [_judge_out(judge) for judge in result.judges],
        "site": site_out(result.site, arrays),
        "gaps": [dataclasses.asdict(gap) for gap in result.gaps],
    }
    arrays["about"] = np.frombuffer(json.dumps(about).encode(), np.uint8)
    buffer = io.BytesIO()
    write: Callable[..., None] = (
        np.savez_compressed
    )  # as far as types go, an array might be meant for its own arguments
    write(buffer, **arrays)
    write_whole(path, buffer.getvalue(), overwrite=overwrite)


def kept_run(path: str | Path, ranked: Callable[[Result], Result] | None = None) -> Result:
    """The run again, without its rasters but with every placement's measures.

    Args:
        path: file of `tunnelsite screen --keep`, or of `keep_run`.
        ranked: what to make of the run before any of it is ranked or described, so that a new ranking is not paid for with the
            old one too (`lambda run: run.rescore(weights)`); None = the ranking it had.

    Returns:
        Result.

    Raises:
        InputRefused: for another kind of file. What `ranked` raises as UsageError or ResourceShortage comes through.
    """
    from tunnelsite.screening.rescoring import Measures
    from tunnelsite.screening.result import judged

    def described(run: Result) -> Result:
        measured = Measures(run.settings, run.scans, run.judges)
        result = judged(run.site, measured, run.gaps) if ranked is None else ranked(run)
        _ = result.tables  # describing a candidate reads what no check has looked at, so it belongs inside
        return result

    return of_kept_run(path, described)


def of_kept_run(path: str | Path, use: Callable[[Result], Used]) -> Used:
    """What is made of a kept run that was neither ranked nor described. Arguments: path; use. Errors: as `kept_run`."""
    file = Path(path)
    if not file.is_file():
        raise InputRefused(f"kept run {file} is missing", "a file of `tunnelsite screen --keep`", "correct the path")
    try:
        return use(_unranked(file))
    except (ResourceShortage, UsageError):
        raise
    except Exception as problem:  # a damaged or hostile file may raise anything in the libraries that read its parts
        other = not zipfile.is_zipfile(file)  # another kind of file altogether, such as the GeoPackage of the same run
        raise InputRefused(
            f"{file} is no kept run" if other else f"{file} is not a whole kept run ({type(problem).__name__})",
            "a file of `tunnelsite screen --keep`",
            "screen again with --keep",
        ) from None


def _unranked(file: Path) -> Result:
    from tunnelsite.screening.result import Result

    site, settings, scans, judges, missing = _read(file)
    again = _ranked_from(site, file)
    return Result(again, settings, scans, judges, scored=[], here=[], choices=[], gaps=missing)


def _read(file: Path) -> tuple[Site, Settings, list[Scan], list[Judge], list[Gap]]:
    """(site, settings, scans, judges, gaps) of a kept run. Errors: whatever a broken file leads to."""
    from tunnelsite.scan.engine import Judge, Lost, Scan, Tally
    from tunnelsite.scan.open_ground import bars, open_ground
    from tunnelsite.screening.not_assessed import Gap

    arrays = stored_arrays(file)
    about = json.loads(arrays.pop("about").tobytes())
    if about["format"] != FORMAT:
        raise ValueError(about["format"])
    frames = [frame_in(item, f"frame{k}", arrays) for k, item in enumerate(about["frames"])]
    for frame in frames:
        check_frame(frame)
    settings = Settings(**anchored(about["settings"], file.parent))
    judges = [Judge(_criterion(item), Rubric(**item["rubric"]), item["parameters"]) for item in about["judges"]]
    scans = []
    for k, item in enumerate(about["scans"]):
        frame, key = frames[range(len(frames))[item["frame"]]], f"scan{k}"
        pad = Pad(**item["pad"])
        # what the scan kept of it are counts; where a house may be shifted to is worked out again from the same shapes
        ground = open_ground(frame, pad, settings.setback_m, bars(frame, settings.clearance_m))
        rejected = under(arrays, f"{key}.rejected.")
        ground = dataclasses.replace(ground, inside=arrays[f"{key}.inside"], rejected=rejected)
        tallies = {rule: [Tally(*values) for values in found] for rule, found in item["tallies"].items()}
        means, errors = under(arrays, f"{key}.mean."), under(arrays, f"{key}.se.")
        truths = {name: Truth(mean, errors[name]) for name, mean in means.items()}
        packed = (arrays[f"{key}.index"], arrays[f"{key}.owner"], under(arrays, f"{key}.measure."))
        lost = {judge.id: under(arrays, f"{key}.lost.{judge.id}.") for judge in judges}
        known = {
            rule: Lost(one.pop("index"), one.pop("owner"), under(one, "measure.")) for rule, one in lost.items() if one
        }
        scan = Scan(frame, House(**item["house"]), pad, *packed, tallies, ground, truths, known)
        check_scan(scan, [(judge.id, judge.rubric) for judge in judges])
        scans.append(scan)
    if not scans or not judges:
        raise ValueError("nothing was kept")
    return site_in(about["site"], arrays), settings, scans, judges, [Gap(**gap) for gap in about["gaps"]]


def _ranked_from(site: Site, file: Path) -> Site:
    note = f"ranked again from a kept run, {file_name(file)}, SHA-256 {sha256(file)}"
    return dataclasses.replace(site, notes=(note,))


def _judge_out(judge: Judge) -> dict[str, Any]:
    about = judge.criterion.description
    return {
        "description": {name: getattr(about, name) for name in ("id", "title", "text", "unit", "source")},
        "reads": [[spec.id, spec.unit, spec.title] for spec in about.reads if not spec.optional],
        "rubric": dataclasses.asdict(judge.rubric),
        "parameters": judge.parameters,
    }


def _criterion(item: dict[str, Any]) -> Criterion:
    reads = tuple(LayerSpec(*spec) for spec in item["reads"])
    return Criterion(Description(**item["description"], reads=reads), _not_measured)


def _not_measured(site: Placements, **parameters: object) -> np.ndarray:
    raise InputRefused("a kept run measures nothing", "stored measures", "screen again")
