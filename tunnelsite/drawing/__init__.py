"""Drawing for plans and reports: SVG, colours, contours, the map of a farm."""
