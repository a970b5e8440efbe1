"""Why this place, how it compares, and how firm the ranking is. On the invented farm of sample_data.

Run it with `python docs/examples/deciding.py`, or open it as a notebook (`# %%` cells).
"""

# %% A screening
from pathlib import Path

from tunnelsite import (
    House,
    Placement,
    RasterReading,
    Settings,
    StatedError,
    compare,
    explain,
    read_site,
    robustness,
    screen,
)

FARM = Path(__file__).resolve().parents[2] / "sample_data"
site = read_site(
    str(FARM / "dem.tif"),
    str(FARM / "parcels.gpkg"),
    structures=str(FARM / "structures.gpkg"),
    reading=RasterReading(
        elevation_unit="m", halo_m=100.0
    ),  # of a DEM that does not name its unit, and how much land round it
)
settings = Settings(
    cell_m=2.0, azimuths=12, halo_m=100.0, setback_m=6.1, top=5, draws=50
)  # coarse, so that it is quick
result = screen(site, House.parse("30x96ft"), settings=settings)

# %% Why is candidate 2 where it is? Every rule in order, with what it is worth
second = explain(result, 2)
print(second.words())

# %% Any other place, turned 30 degrees: measured on the ground at hand, in milliseconds
first = result.option(1)
turned = explain(result, Placement(first.lon_deg, first.lat_deg, 60.0, first.house))
print(turned)
print(turned.table.set_index("rule").loc[["boundary", "pitch", "earthwork"], ["value", "unit", "limit", "passed"]])

# %% What sets the first three apart
three = compare(result, ranks=[1, 2, 3])
print("\n".join(three.reasons()))

# %% What other weights change
other = compare(result, result.rescore(weights={"pitch": 9.0}))
print(other.words())

# %% How firm is the lead, when weights and heights are drawn?
firm = robustness(result)
print(firm.verdict.sentence)
print(firm.tables["robustness"][["rank", "score", "first_share", "top_share"]])

# %% And if the heights are worse than was assumed: errors of 0.2 m that reach over 10 m
worse = robustness(result, error=StatedError(0.2, 10.0))
print(worse.verdict.sentence)
