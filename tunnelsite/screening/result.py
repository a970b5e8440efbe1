"""What a screening gives back: candidates, layers and tables, and new rankings without computing terrain again."""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass, field, replace
from functools import cached_property
from pathlib import Path
from typing import TYPE_CHECKING, Any

import numpy as np
import pyproj

from tunnelsite.core.elevation_error import ErrorModel
from tunnelsite.core.grid import horizontal
from tunnelsite.core.notebook import notebook_frames
from tunnelsite.core.one_process import refuse_forked
from tunnelsite.core.site import Frame, Site
from tunnelsite.core.table import NULLABLE, Table
from tunnelsite.scan.engine import Judge, Scan
from tunnelsite.scan.judge import ScoresHere
from tunnelsite.scan.pitch_error import stated_error
from tunnelsite.scan.ranking import RankedPlacement, RankRules, ranked
from tunnelsite.scan.refine import broken_rules
from tunnelsite.scan.steady import steady_scores
from tunnelsite.screening import candidate_rows, tables
from tunnelsite.screening.layer_arrays import LayerArrays
from tunnelsite.screening.not_assessed import Gap
from tunnelsite.screening.relaxing import Relaxation, relaxation
from tunnelsite.screening.relaxing_tables import compromises_table, relax_table
from tunnelsite.screening.rescoring import Measures, tightened
from tunnelsite.screening.run_table import run_table
from tunnelsite.settings.model import Settings

if TYPE_CHECKING:
    import geopandas
    import xarray

    from tunnelsite.core.placement import Placement
    from tunnelsite.scan.firmness.rank_shares import RankShares
    from tunnelsite.scan.firmness.verdict import Verdict


@dataclass(repr=False)
class Result:
    """A finished screening.

    Attributes:
        site, settings: what was asked. scans: one for each house and bearing. judges: criteria with their rubrics.
        scored: by scan, steady score of every placement that passed (float64 [n]): it ranks. here: the same at the exact place,
            worked out where it is asked for: `here[k][:]` is the whole array.
        choices: the ranking.
        gaps: what was not assessed anywhere. notes: notes on the ranking as a whole.
        left_out: criteria of plug-ins that could not be used, in words: the ranking is one without them.
    """

    site: Site
    settings: Settings
    scans: list[Scan]
    judges: list[Judge]
    scored: list[np.ndarray]
    here: list[ScoresHere]
    choices: list[RankedPlacement]
    gaps: list[Gap] = field(default_factory=list)
    notes: list[str] = field(default_factory=list)
    left_out: list[str] = field(default_factory=list)

    def __repr__(self) -> str:
        passed = sum(len(one) for one in self.scored)
        best = f"best {self.choices[0].score:.1f} of 100" if self.choices else "no place passes every rule"
        return f"<Result: {len(self.choices)} options, {best}; {passed:,} placements pass>"

    def _repr_html_(self) -> str:
        columns = ["rank", "score", "parcel", "house", "pitch_along_pct", "pitch_across_pct", "room_m", "flags"]
        return notebook_frames(repr(self), {"": self.candidates[columns]}, self.doubts)

    @property
    def crs(self) -> pyproj.CRS:
        """The parcels' horizontal coordinate system, in which results are written."""
        return horizontal(self.site.parcels.crs)

    @property
    def frame(self) -> Frame:
        """The frame of the wanted bearing."""
        return self.scans[0].frame

    def error_of(self, scan: Scan) -> ErrorModel:
        """What the errors of the elevations of a scan are taken to be."""
        return scan.frame.error or stated_error(scan.frame, *self.settings.error)

    @property
    def apart_m(self) -> float:
        """Least distance between the centres of two options [m]: as set, or one length of the longest house."""
        longest = max(scan.house.length_m for scan in self.scans)
        return longest if self.settings.apart_m is None else self.settings.apart_m

    @property
    def doubts(self) -> list[str]:
        """What makes the heights doubtful, to be shown before anything else; each once."""
        return list(dict.fromkeys(text for scan in self.scans for text in scan.frame.doubts))

    @cached_property
    def rank_shares(self) -> RankShares:
        """How often each candidate takes each rank when weights and heights are drawn as the settings say, once for all who ask.

        Errors: UsageError where there is no candidate.
        """
        from tunnelsite.core import catalogue
        from tunnelsite.scan.firmness.rank_shares import rank_shares
        from tunnelsite.scan.firmness.verdict import run_plan

        return rank_shares(self, catalogue.criteria(), run_plan(self))

    @property
    def verdict(self) -> Verdict | None:
        """How firm the lead of the first candidate is; None where there is no candidate."""
        from tunnelsite.scan.firmness.verdict import verdict_of

        return verdict_of(self.rank_shares) if self.choices else None

    @cached_property
    def rows(self) -> list[dict[str, Any]]:
        """One dict a candidate, best first."""
        return candidate_rows.candidate_rows(self)

    @cached_property
    def relaxation(self) -> Relaxation | None:
        """Where little passes: which limits cost most and the least bad places; else None."""
        return relaxation(self)

    @cached_property
    def tables(self) -> dict[str, Table]:
        """Every layer of the GeoPackage."""
        found: tuple[Table, ...] = (
            tables.candidates_table(self),
            tables.pads_table(self),
            tables.stakes_table(self),
            tables.rejections_table(self),
            tables.criteria_table(self),
            run_table(self),
        )
        if self.relaxation is not None:
            ranked = tables.candidates_table(self.relaxation.compromises)
            found += (compromises_table(self.relaxation, ranked), relax_table(self.relaxation.steps))
        return {table.name: table for table in found}

    @property
    def candidates(self) -> geopandas.GeoDataFrame:
        """Ranked footprints with the columns of the GeoPackage, in the parcels' coordinate system."""
        return frame_of(self.tables["candidates"])

    @property
    def layers(self) -> Mapping[str, xarray.DataArray]:
        """Rasters of the wanted bearing by id, made into xarray.DataArray when asked for."""
        return LayerArrays(self.frame)

    def rescore(
        self,
        weights: Mapping[str, float] | None = None,
        rubrics: Mapping[str, Mapping[str, Any]] | None = None,
        top: int | None = None,
    ) -> Result:
        """A new ranking from the stored measures; no terrain is computed again.

        Arguments: weights by criterion id; rubrics, changes by criterion id (full_at, none_at, limit, weight); top.
        Errors: UsageError for unknown names, or a limit looser than the one that already rejected placements.
        """
        changed = {name: dict(values) for name, values in (rubrics or {}).items()}
        now = tightened(Measures(self.settings, self.scans, self.judges), dict(weights or {}), changed, top)
        return replace(judged(self.site, now, self.gaps), left_out=self.left_out)

    def option(self, rank: int = 1) -> Placement:
        """A candidate as a placement, which every plan takes. Errors: UsageError for a rank that is not there."""
        from tunnelsite.screening.option import option_of

        return option_of(self, rank)

    def write(self, path: str | Path, *, overwrite: bool = False) -> Path:
        """Write `sites.gpkg`. Errors: OutputFailed; whatever was there before stays whole."""
        from tunnelsite.screening.saving import write_result

        return write_result(self, Path(path), overwrite=overwrite)


def judged(site: Site, measured: Measures, missing: list[Gap]) -> Result:
    """Score, rank and refine what was measured; no terrain is computed here."""
    refuse_forked()
    settings, scans, judges = measured.settings, measured.scans, measured.judges
    here = [ScoresHere(scan, judges, settings.combine) for scan in scans]
    scored = [steady_scores(scan, values, settings.shift_m) for scan, values in zip(scans, here, strict=True)]
    result = Result(site, settings, scans, judges, scored, here, [], missing)

    def sound(scan: Scan, item: int) -> bool:
        return not broken_rules(scan, item, settings.setback_m, settings.clearance_m)

    result.choices = ranked(scans, scored, RankRules(settings.top, result.apart_m, settings.per_parcel), sound)
    left = sum(len(values) for values in scored)
    if left and not result.choices and not any(map(site.store.finite, scored)):
        weighted = ", ".join(judge.id for judge in judges if judge.rubric.weight > 0)
        text = f"{left:,} placements passed every limit, but none of what has a weight ({weighted}) could be assessed there"
        result.notes.append(text)
    return result


def frame_of(table: Table) -> geopandas.GeoDataFrame:
    """A table as a GeoDataFrame (nullable types, so that what was not assessed stays NA)."""
    import geopandas
    import pandas

    columns = {
        name: pandas.array(table.values(name), dtype=NULLABLE[column.kind]) for name, column in table.columns.items()
    }
    return geopandas.GeoDataFrame(
        columns, geometry=None if table.geometry is None else list(table.geometry), crs=table.crs
    )
