"""Hosts present what the catalogue offers; they compute nothing."""
