"""From a place to the earth that has to move there, and to the stakes that a crew sets out.

Run it with `python docs/examples/grading_and_stakes.py FOLDER`, or open it as a notebook (`# %%` cells). It uses the invented
farm of sample_data. Any place on the elevation model will do; after a screening, `result.option(1)` is its best one.
"""

# %% A place, and the settings that are its own
import sys
from pathlib import Path

from tunnelsite import GradingSettings, House, Placement, StakeOutSettings, grade, read_site, stake_out

FOLDER = Path(sys.argv[1]) if len(sys.argv) > 1 and not sys.argv[1].startswith("-") else Path()
FARM = Path(__file__).resolve().parents[2] / "sample_data"
site = read_site(str(FARM / "dem.tif"), str(FARM / "parcels.gpkg"))
place = Placement(-78.1510, 43.0080, 90.0, House.parse("30x96ft")).with_settings({"halo": "100m", "setback": "20ft"})

# %% The earth: 4:1 side slopes, so that a mower can be driven on them
earth = grade(site, place, GradingSettings(cut_slope=4.0, fill_slope=4.0, draws=50))
numbers = earth.summary["grading"]
print(f"cut {numbers['cut_m3']:.0f} m3, fill {numbers['fill_m3']:.0f} m3, deepest cut {numbers['max_cut_m']:.2f} m")
print(earth.layers["areas"][["kind", "area_m2"]])

# %% What to heed before anyone digs
for text in earth.cautions:
    print("caution:", text)

# %% The stakes, at the finished heights of that plan
stakes = stake_out(site, place, StakeOutSettings(grading=earth))
corners = stakes.tables["sheet"].query("kind == 'corner'")
print(corners[["label", "easting", "northing", "ground_m", "finish_m", "cut_m"]])

# %% The files that the commands `grading` and `stakeout` write
written = earth.write(FOLDER / "grading") | stakes.write(FOLDER / "stakes")
print(*(f"{name}: {path.name}" for name, path in written.items()), sep="\n")
