"""The screening: run, layers, result, tables, saving."""
