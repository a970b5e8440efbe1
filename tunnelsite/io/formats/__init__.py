"""A finished screening or plan in other open formats."""

FORMATS = ("geojson", "kml", "gpx", "csv", "dxf", "geoparquet", "sld", "stac")
USUAL = ("geojson", "kml", "gpx", "csv")
