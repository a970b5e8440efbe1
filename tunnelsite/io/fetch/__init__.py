"""The only door to a network: used by `gather` alone, on request, to hosts that the user names."""
