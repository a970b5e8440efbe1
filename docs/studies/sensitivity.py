"""How far a county's answer hangs on weights, limits and the errors of the heights. On the same invented lots.

Run it with `python docs/studies/sensitivity.py [FOLDER]`, in the folder of `county_by_house_size.py`, which it runs first where that was
not done.
"""

# %% The county of the other study, screened with its runs kept
import runpy
import sys
from pathlib import Path

from tunnelsite import ParcelPlan, kept_region, rescore_region, sensitivity

folder = Path(sys.argv[1]) if len(sys.argv) > 1 else Path()
if not (folder / "lots-screened.gpkg").exists():
    runpy.run_path(str(Path(__file__).with_name("county_by_house_size.py")))
county = kept_region(folder / "lots-screened.gpkg", folder / "lots.parts")
print(county)

# %% Other weights and a stricter limit: every lot is ranked again, no terrain is computed
sunny = rescore_region(county, {"sun": 5.0}, {"pitch": {"limit": 5.0}})
print(sunny)
print(sunny.tables["parcels"]["feasible_30x96ft"].sum(), "lots keep room for 30x96ft with ground of 5 % or less")

# %% Weights, limits and heights drawn at random, together and each alone
firm = sensitivity(county, ParcelPlan(draws=200, limit_range=0.1))
print(firm.words())

# %% Which lots are not settled: feasible in some draws and not in others
lots = firm.tables["parcels"]
share = lots["feasible_share_30x96ft"]
print(lots.loc[share.between(0.1, 0.9), ["parcel", "feasible_share_30x96ft", "score_p10_30x96ft", "score_p90_30x96ft"]])

# %% Two figures: how far shares and orders move, and where. And everything as a GeoPackage
for name, picture in firm.pictures.items():
    (folder / f"sensitivity-{name}.svg").write_text(picture)
firm.write(folder / "lots-sensitivity.gpkg", overwrite=True)
