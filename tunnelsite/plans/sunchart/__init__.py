"""The sun chart of a place."""
