"""`tunnelsite` without a command: what it does, and the ways to begin."""

from __future__ import annotations

from tunnelsite.hosts.cli.streams import say

WORDS = """\
tunnelsite finds where on a farm a high tunnel or greenhouse should stand: from an elevation raster and the parcels
it scores every place for ground, water, sun, wind and reach, and writes the best ones to a GeoPackage.

Three ways to begin:
  tunnelsite demo               the whole job on an invented farm, in about a minute
  tunnelsite init FOLDER        look at your own data there, answer a few questions, get a project file
  tunnelsite desk FOLDER        the same on a map in your browser, on this machine

`tunnelsite --help` lists every command."""


def beginning() -> int:
    """Say how to begin. Return: exit status 0."""
    say(*WORDS.splitlines())
    return 0
