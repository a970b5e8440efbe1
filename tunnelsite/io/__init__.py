"""The only place that opens files."""
