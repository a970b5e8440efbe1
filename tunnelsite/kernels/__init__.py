"""Arrays in, arrays out: no coordinate systems, no paths."""
