"""One file per geoprocessing tool: a description and the few lines that call a kernel."""
