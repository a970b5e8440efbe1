"""A block of houses, what the work costs at your own prices, and what to hand over. On the invented farm of sample_data.

Run it with `python docs/examples/layout_and_cost.py`, or open it as a notebook (`# %%` cells). It
writes into the folder `handover`.
"""

# %% A screening with water and a road
import sys
from pathlib import Path

from tunnelsite import (
    CostSettings,
    House,
    LayoutSettings,
    Prices,
    ReportSettings,
    Settings,
    cost,
    export,
    lay_out,
    make_report,
    read_site,
    screen,
)
from tunnelsite.settings.field import read_settings

OUT = Path(sys.argv[1] if len(sys.argv) > 1 else ".") / "handover"
FARM = Path(__file__).resolve().parents[2] / "sample_data"
services = {"water": str(FARM / "water.gpkg"), "road": str(FARM / "road.gpkg")}
site = read_site(str(FARM / "dem.tif"), str(FARM / "parcels.gpkg"), services=services)
settings = Settings(cell_m=2.0, azimuths=12, halo_m=100.0, setback_m=6.1, top=5)  # coarse, so that the example is quick
result = screen(site, House.parse("30x96ft"), settings=settings)

# %% Three houses in one block: the cheapest trunk among those within 2 points a house of the best
block = lay_out(result, read_settings(LayoutSettings, {"houses": 3, "gap": "20ft", "price": {"water": "4/ft"}}))
print(block.summary["verdict"])
print(block.layers["layout"][["rank", "score", "parcel", "gap_m", "trench_water_m", "cost_water"]])

# %% What the work at the first two options costs; what has no price has no cost
prices = Prices.parse(earthwork="12/yd3", topsoil="8/yd3", water="4/ft")
table = cost(site, [result.option(1), result.option(2)], CostSettings(price=prices))
print(table.tables["cost"][["rank", "title", "quantity", "low", "high", "unit", "price_given", "cost"]])
for option in table.summary["options"]:
    print(f"{option['title']}: {option['total']:,.0f} in all, without {', '.join(option['without_price'])}")

# %% What to hand over: the block, a page, and the candidates for other programs
block.write(OUT)
table.write(OUT)
make_report(result, ReportSettings(client=True, cards=1)).write(OUT / "report.html")
for file in export(result, OUT, ["geojson", "csv"]).files:
    print(file.name)
