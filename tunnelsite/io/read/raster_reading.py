"""How the heights of a site are to be read where the files do not say."""

from __future__ import annotations

from dataclasses import dataclass

from tunnelsite.core.errors import UsageError
from tunnelsite.io.write.scratch import FROM_BYTES


@dataclass(frozen=True)
class RasterReading:
    """How heights are to be read where the files do not say, and how much land round the parcels.

    Attributes: elevation_unit, of the DEM and the surface, `m`, `ft`, `us-ft`, `dm` or `cm`; dem_crs; band; zero_is_nodata; halo_m, and
    far_reach_m of a far DEM beyond it [m]; scratch_from_bytes: layers from this size on live in scratch files;
    far_elevation_unit, of the far DEM.
    """

    elevation_unit: str | None = None
    dem_crs: str | None = None
    band: int | None = None
    zero_is_nodata: bool | None = None
    halo_m: float = 1000.0
    far_reach_m: float = 30_000.0
    scratch_from_bytes: int = FROM_BYTES
    far_elevation_unit: str | None = None

    def __post_init__(self) -> None:
        for name, value in (("halo_m", self.halo_m), ("far_reach_m", self.far_reach_m)):
            if not 0 <= value <= 1e6:  # false for NaN too
                raise UsageError(f"{name} is {value}", "0 to 1,000,000 m", "correct it")
