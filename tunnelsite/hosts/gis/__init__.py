"""The tools inside a desktop GIS: what `tunnelsite gis-plugin` installs stands in `plugin/`, which only that GIS imports."""
