"""How much of a county has room for a house, by house size and township. On invented land: the farm of sample_data cut into lots.

Run it with `python docs/studies/county_by_house_size.py [FOLDER]`, or open it as a notebook (`# %%` cells). It needs the extra `region`
only for more than one worker.
"""

# %% The land: a square kilometre cut into lots, in two invented townships
import sys
from pathlib import Path

import geopandas
import shapely

from tunnelsite import RegionPlan, Settings, screen_region

FARM = Path(__file__).resolve().parents[2] / "sample_data"
folder = Path(sys.argv[1]) if len(sys.argv) > 1 else Path()
west, north, side = 732_150.0, 4_765_850.0, 120.0  # 36 lots, well inside the elevation model
lots = [(row, col) for row in range(6) for col in range(6)]
parcels = geopandas.GeoDataFrame(
    {
        "parcel": [f"lot {row + 1}{'ABCDEF'[col]}" for row, col in lots],
        "township": ["Alder" if row < 3 else "Birch" for row, _ in lots],
    },
    geometry=[
        shapely.box(west + side * col, north - side * (row + 1), west + side * (col + 1), north - side * row)
        for row, col in lots
    ],
    crs="EPSG:32617",
)
parcels.to_file(folder / "lots.gpkg", driver="GPKG")

# %% Screen every lot for two sizes; what is finished is kept in lots.parts, from which a broken run goes on
settings = Settings(
    dem=str(FARM / "dem.tif"),
    parcels=str(folder / "lots.gpkg"),
    structures=str(FARM / "structures.gpkg"),
    keep_out=[str(FARM / "wetland.gpkg"), str(FARM / "floodplain.gpkg")],
    house=["20x48ft", "30x96ft"],
    cell_m=3.0,
    azimuths=8,
    halo_m=60.0,
)  # coarse, so that it is quick: a study takes the model's own cells, more directions and a wider halo
plan = RegionPlan(top=1, group_by="township", keep=True)
county = screen_region(settings, folder / "lots.parts", plan)
print(county)

# %% Room by house size and township: shares are of the lots of which it is known whether they have room
groups = county.tables["groups"]
print(
    groups[["group", "house", "screened", "not_known", "feasible_share", "median_score", "pads_m2"]].to_string(
        index=False
    )
)

# %% What each lot holds: the larger house has less room, never more
lots_found = county.tables["parcels"]
print(
    lots_found[["parcel", "township", "feasible_20x48ft", "feasible_30x96ft", "best_score"]]
    .head(8)
    .to_string(index=False)
)

# %% A map for each size, and everything as files: GeoPackage, manifest, maps
(folder / "townships.svg").write_text(county.pictures["groups"])
county.write(folder / "lots-screened.gpkg", overwrite=True)
