"""What follows a choice, from Python: a place, its sun, its earthwork, its stakes.

Run it with `python docs/examples/after_the_choice.py [FOLDER]`, or open it as a notebook in an editor that knows `# %%` cells. It uses
the invented farm of sample_data and takes about twenty seconds once the kernels are compiled.
"""

# %% A screening, coarse so that this example is quick
import sys
from pathlib import Path

from tunnelsite import (
    House,
    Placement,
    Settings,
    StakeOutSettings,
    SunChartSettings,
    grade,
    option,
    read_site,
    screen,
    stake_out,
    sun_chart,
)

FARM = Path(__file__).resolve().parents[2] / "sample_data"
FOLDER = Path(sys.argv[1] if len(sys.argv) > 1 else ".")
site = read_site(
    FARM / "dem.tif",
    FARM / "parcels.gpkg",
    surface=FARM / "surface.tif",
    structures=FARM / "structures.gpkg",
    services={name: FARM / f"{name}.gpkg" for name in ("water", "power")},
)
house = House.parse("30x96ft")
result = screen(site, house, crop_months="Oct:Apr", settings=Settings(cell_m=2.0, azimuths=12, top=4))
print(result)

# %% A place: a ranked option, the same from its file, or any spot on the farm
place = result.option(1)
path = result.write(FOLDER / "sites.gpkg", overwrite=True)
assert option(path, 1).lon_deg == place.lon_deg
elsewhere = Placement(place.lon_deg, place.lat_deg + 0.0002, 90.0, house, title="A little further north")

# %% Plans of it: each has a summary, layers, tables, pictures, notes and cautions, and writes the files of its command
chart = sun_chart(site, place, SunChartSettings(utc_offset_h=-5.0))
earth = grade(site, place)
stakes = stake_out(site, place, StakeOutSettings())
for plan in (chart, earth, stakes, grade(site, elsewhere)):
    print(plan)

# %% The files that the command would write
earth.write(FOLDER / "grading", overwrite=True)
