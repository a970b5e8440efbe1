"""The command line with drainage in tiles so small that a test's raster has many: python -m tests.region.small_tiles WORDS."""

from __future__ import annotations

import sys

from tunnelsite.region import drainage

TILE = 60

if __name__ == "__main__":
    from tunnelsite.hosts.cli.main import main

    drainage.TILE = TILE
    sys.exit(main(sys.argv[1:]))
