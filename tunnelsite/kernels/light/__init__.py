"""Horizons, shares of light, lamps."""
