"""What does a bigger house cost in ground? Two sizes on the same farm, one screening each; then other weights.

Run it with `python docs/examples/compare_sizes.py`, or open it as a notebook (`# %%` cells). It uses the invented farm of
sample_data. In one run (`screen(site, [small, large])`) sizes compete for the same places, and the smaller one wins most
of them, because a smaller rectangle finds a more level piece; so here each size is ranked on its own.
"""

# %% One reading, two screenings
from pathlib import Path

import pandas

from tunnelsite import House, Settings, read_site, screen

FARM = Path(__file__).resolve().parents[2] / "sample_data"
site = read_site(str(FARM / "dem.tif"), str(FARM / "parcels.gpkg"), surface=str(FARM / "surface.tif"))
settings = Settings(cell_m=2.0, azimuths=12, setback_m=6.1, top=10)  # coarse, so that the example is quick
sizes = ("20x48ft", "30x96ft")
results = {size: screen(site, House.parse(size), crop_months="10-01:04-30", settings=settings) for size in sizes}

# %% The best place of each size
best = pandas.DataFrame({size: result.candidates.iloc[0] for size, result in results.items()})
print(best.loc[["score", "parcel", "cut_m3", "max_cut_m", "pitch_along_pct", "pitch_across_pct", "pitch_se_pct"]])

# %% Earth to move: the longer house crosses more uneven ground
for size, row in best.items():
    area_m2 = row["width_m"] * row["length_m"]
    print(f"{size}: {row['cut_m3']:.1f} m3 of cut, {1000 * row['cut_m3'] / area_m2:.1f} litres for each m2 of house")

# %% How many placements pass every limit
for size, result in results.items():
    print(f"{size}: {sum(len(scan.index) for scan in result.scans)} placements pass every limit")

# %% The same run when light counts three times as much: no terrain is computed again
again = results["30x96ft"].rescore(weights={"sun": 3})
first, second = (run.candidates["parcel"].iloc[0] for run in (results["30x96ft"], again))
print(f"best place for 30x96ft: {first}; when light counts three times as much: {second}")
