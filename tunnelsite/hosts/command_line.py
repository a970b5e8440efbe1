"""The command line: presents what the catalogue and the screening offer; results on stdout, progress on stderr."""

from __future__ import annotations

import sys
from collections.abc import Sequence

from tunnelsite.core.errors import TunnelsiteError

INTERRUPTED = 130


def main(arguments: Sequence[str] | None = None) -> int:
    """Run one command. Return: exit status (0 done, 2 usage, 3 input, 4 resources, 5 output, 130 interrupted)."""
    from tunnelsite.hosts.options import parser

    try:
        given = parser().parse_args(arguments)
    except SystemExit as stop:  # argparse exits 2 on wrong usage and 0 after help
        return int(stop.code or 0)
    try:
        return int(given.command(given) or 0)
    except TunnelsiteError as problem:
        print(f"tunnelsite: {problem}", file=sys.stderr)
        return problem.exit_status
    except MemoryError:
        print(
            "tunnelsite: the memory ran out. To mend it: use a coarser --cell, a smaller --halo or fewer parcels.",
            file=sys.stderr,
        )
        return 4
    except KeyboardInterrupt:
        print("tunnelsite: interrupted; no output was touched.", file=sys.stderr)
        return INTERRUPTED
    except BrokenPipeError:  # the reader of stdout went away
        sys.stderr.close()
        return 0


def run() -> None:
    """Entry point of `python -m tunnelsite`."""
    sys.exit(main())


if __name__ == "__main__":
    run()
