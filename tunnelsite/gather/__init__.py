"""From a place on the map to data in the project folder: elevation, point clouds and features from sources the user names."""
