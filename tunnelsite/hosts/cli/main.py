"""The command line: presents what the catalogue and the screening offer; results on stdout, progress on stderr."""

from __future__ import annotations

import argparse
import contextlib
import os
import sys
from collections.abc import Sequence

from tunnelsite.core.ending import OF_THIS_RUN, Ending
from tunnelsite.core.errors import TunnelsiteError, UsageError
from tunnelsite.hosts.cli import interruption
from tunnelsite.hosts.cli.streams import Answers, ready_streams, steer, tell
from tunnelsite.hosts.cli.surroundings import check_environment, warn_only

INTERRUPTED = 130


def main(arguments: Sequence[str] | None = None) -> int:
    """Run one command. Return: exit status (0 done, 2 usage, 3 input, 4 resources, 5 output, 130 interrupted).

    Without `arguments` the process is taken to be this command's own: those of the process are used, and a signal ends it
    within seconds (see `interruption`). With them no handler is set and no thread started.
    """
    ending, own = Ending(), arguments is None
    before = OF_THIS_RUN.set(ending)
    settle = _nothing
    try:
        if own:
            ready_streams()  # before anything is opened
            warn_only()
            settle = interruption.listen(ending)
        return _status(arguments)
    except KeyboardInterrupt:
        if ending.status is None:
            steer(f"{interruption.words(ending)}\n")
        return INTERRUPTED
    finally:
        with contextlib.suppress(KeyboardInterrupt):  # at the very last moment
            settle()
        if ending.status is not None:  # whatever the libraries in between have made of it
            interruption.leave(ending)
        OF_THIS_RUN.reset(before)


def _status(arguments: Sequence[str] | None) -> int:
    os.environ["PROJ_NETWORK"] = (
        "OFF"  # before PROJ is loaded: it would fetch shift grids where the environment says ON
    )
    # before numpy is loaded: products here are small, and threads that wait for the next one take twice a run's time on a busy machine
    os.environ.setdefault("OPENBLAS_NUM_THREADS", "1")
    try:
        check_environment(os.environ)
        with contextlib.redirect_stdout(Answers(sys.stdout)):
            status = _commanded(arguments)
            sys.stdout.flush()  # while a lost answer can still be reported
        return status
    except TunnelsiteError as problem:
        tell(f"tunnelsite: {problem}")
        return problem.exit_status
    except MemoryError:
        tell("tunnelsite: the memory ran out. Fix: use a coarser --cell, a smaller --halo or fewer parcels.")
        return 4
    except BrokenPipeError:  # the reader of the answer went away
        return 0


def _commanded(arguments: Sequence[str] | None) -> int:
    try:
        given = _given(sys.argv[1:] if arguments is None else list(map(str, arguments)))
        if given.name is None:
            from tunnelsite.hosts.cli.beginning import beginning

            return beginning()
        _take_away_left()
        return int(given.command(given) or 0)
    except SystemExit as stop:  # argparse exits 2 on wrong usage and 0 after help
        return int(stop.code or 0)


def _take_away_left() -> None:
    from tunnelsite.io.held_folder import take_away_left
    from tunnelsite.io.plain_names import temporary_places

    take_away_left(temporary_places())


def _given(arguments: list[str]) -> argparse.Namespace:
    """What was asked for, from a parser that knows the options of the command alone. Errors: UsageError."""
    from tunnelsite.hosts.cli.arguments import parsed
    from tunnelsite.hosts.cli.options import parser

    command = next((word for word in arguments if not word.startswith("-")), "")
    try:
        return parsed(parser(command), arguments)
    except UsageError:  # once more with the options of all commands: the message names the command that has the option
        return parsed(parser(), arguments)


def _nothing() -> None:
    """There is nothing to settle where no signal was listened to."""


def run() -> None:
    """Entry point of `python -m tunnelsite`."""
    sys.exit(main())


if __name__ == "__main__":
    run()
