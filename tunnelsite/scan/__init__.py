"""The engine: open ground, strips, judge, ranking. Pure: it knows no settings and no files."""
