"""A first screening from Python: read a farm, rank the places for a house, look at the best, hand the files over.

Run it with `python docs/examples/first_screening.py [FOLDER]`, or open it as a notebook in an editor that knows `# %%`
cells. It uses the invented farm of sample_data and takes about ten seconds once the kernels are compiled.
"""

# %% Where things are
import sys
from pathlib import Path

from tunnelsite import House, Settings, keep_run, kept_run, read_site, screen

FARM = Path(__file__).resolve().parents[2] / "sample_data"
FOLDER = Path(sys.argv[1] if len(sys.argv) > 1 else ".")

# %% Read: the DEM only round the parcels; what was found or assumed stands in the notes
site = read_site(
    str(FARM / "dem.tif"),
    str(FARM / "parcels.gpkg"),
    surface=str(FARM / "surface.tif"),  # ground plus what stands on it: casts the shade
    obstacles=str(FARM / "obstacles.gpkg"),
    structures=str(FARM / "structures.gpkg"),
    keep_out=[str(FARM / name) for name in ("wetland.gpkg", "floodplain.gpkg", "lines.gpkg@10m", "road.gpkg@5m")],
    services={name: str(FARM / f"{name}.gpkg") for name in ("water", "power", "road")},
)
for item in site.inputs:
    for note in item.notes:
        print(f"{item.name}: {note}")

# %% Screen: every placement of a 30 x 96 ft house, for crops from October to April
settings = Settings(
    cell_m=2.0,  # coarse, so that this example is quick; leave it out and the DEM's own cell is used
    azimuths=12,  # directions of the horizon; the default is 36
    setback_m=6.1,
    top=6,
)
result = screen(site, House.parse("30x96ft"), crop_months="10-01:04-30", settings=settings)

# %% Look: a GeoDataFrame, best first; what was not assessed is NA, never 0
candidates = result.candidates
columns = ["rank", "score", "parcel", "pitch_along_pct", "pitch_across_pct", "pitch_se_pct", "cut_m3", "beam_share"]
print(candidates[columns].round(2).to_string(index=False))
print("night light was not assessed:", bool(candidates["night_lux"].isna().all()))

# %% The layers behind it, as xarray.DataArray with unit and place
beam = result.layers["beam_share"]
print(
    f"share of the beam: {float(beam.min()):.2f} to {float(beam.max()):.2f} over {beam.shape[0]} x {beam.shape[1]} cells"
)

# %% Write: one GeoPackage with everything, then the same in other open formats
path = result.write(FOLDER / "sites.gpkg", overwrite=True)

from tunnelsite.io.read.stored import read_layers  # noqa: E402
from tunnelsite.io.write.handover import write_handover  # noqa: E402

(FOLDER / "handover").mkdir(exist_ok=True)
for written in write_handover(
    read_layers(str(path)), FOLDER / "handover", ["geojson", "kml", "gpx", "csv", "stac"], {}, overwrite=True
):
    print("written:", written)

# %% Keep every placement's measures, and rank them again another day with other weights
keep_run(result, FOLDER / "run.npz", overwrite=True)
again = kept_run(FOLDER / "run.npz", lambda run: run.rescore({"sun": 3.0}))
print("best places when light counts more:", again.candidates["parcel"].head(3).tolist())
