"""Single tools on a DEM: slope, aspect, hillshade and the shadow of one moment, each on its own.

Run it with `python docs/examples/slope_of_a_dem.py [FOLDER]`, or open it as a notebook (`# %%` cells). The same from the
command line: `tunnelsite run slope dem.tif slope.tif`; `tunnelsite processes` lists every tool and its parameters.
"""

# %% A raster as a layer: values, unit, size of a cell
import sys
from pathlib import Path

import numpy as np

from tunnelsite.core.catalogue import process
from tunnelsite.core.layers import Layer
from tunnelsite.io.formats.cog import write_cog
from tunnelsite.io.read.raster_header import raster_header
from tunnelsite.io.read.rasters import read_raster

FARM = Path(__file__).resolve().parents[2] / "sample_data"
FOLDER = Path(sys.argv[1] if len(sys.argv) > 1 else ".")
dem = read_raster(raster_header(str(FARM / "dem.tif"), "DEM"))
cell_m = dem.affine[0]
ground = Layer(dem.values, "m", "ground", (cell_m, cell_m))
print(f"{dem.name}: {dem.rows} x {dem.cols} cells of {cell_m:g} m, heights in m; {'; '.join(dem.notes)}")

# %% Slope (Horn 1981); a window that is not complete is no data, never level
slope = process("slope")({"ground": ground})["slope"]
print(f"slope [{slope.unit}]: median {np.nanmedian(slope.values):.2f}, no data on {np.isnan(slope.values).sum()} cells")

# %% A cell's slope is mostly the noise of the DEM. The plane of a whole footprint is what the screening judges:
# few single cells of a field are within the trade's 3/4 in per 12 ft (0.52 %), however level it is.
known = slope.values[np.isfinite(slope.values)]
level = np.mean(known <= 100 / 192)
print(f"cells within 3/4 in per 12 ft: {level:.1%}")

# %% Aspect is measured from true north: say by how much the raster's columns lie off it
aspect = process("aspect")({"ground": ground}, {"bearing_deg": 91.95})["aspect"]
facing_south = np.mean(np.abs(aspect.values[np.isfinite(aspect.values)] - 180) <= 45)
print(f"aspect [{aspect.unit}]: {facing_south:.0%} of the cells face south")

# %% Hillshade, written as a Cloud Optimized GeoTIFF with unit, statistics and overviews
shade = process("hillshade")({"ground": ground}, {"azimuth_deg": 315.0, "elevation_deg": 45.0})["hillshade"]
write_cog(FOLDER / "hillshade.tif", shade.values, dem, unit=shade.unit, title=shade.title, overwrite=True)

# %% What each tool reads, makes and where its formula comes from
for name in ("slope", "aspect", "hillshade"):
    description = process(name).description
    print(f"{description.title}: {description.source}")
