"""How firm a ranking is against drawn weights, elevations and water."""
