"""The shape of the ground: planes, slopes, roughness, earthwork of a pad."""
