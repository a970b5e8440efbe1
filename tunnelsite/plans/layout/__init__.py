"""Blocks of several houses and the trenches to their services."""
