"""Progress on stderr: one line that rewrites itself on a terminal, a line a step elsewhere."""

from __future__ import annotations

import sys
import time

from tunnelsite.core.shown import one_line
from tunnelsite.hosts.cli.streams import steer, tell


class Progress:
    """Shows what is being done, the share done and the time left; called with (what, share)."""

    def __init__(self, *, quiet: bool = False) -> None:
        self.quiet = quiet
        self.terminal = sys.stderr.isatty()
        self._what, self._start, self._shown = "", 0.0, 0.0

    def __call__(self, what: str, share: float) -> None:
        """Show one step; a step that changes its name ends the one before it."""
        if self.quiet:
            return
        now = time.monotonic()
        if what != self._what:
            self._what, self._start, self._shown = what, now, 0.0
            if not self.terminal:
                tell(f"{what} ...")
        if self.terminal and (now - self._shown > 0.1 or share >= 1.0):
            self._shown = now
            spent = now - self._start
            left = f", {spent * (1 - share) / share:.0f} s left" if 0.02 < share < 1 and spent > 1 else ""
            end = f" ({spent:.1f} s)\n" if share >= 1.0 else ""
            steer(f"\r\x1b[K{one_line(what)}: {min(share, 1.0):4.0%}{left}{end}")

    def say(self, text: str) -> None:
        """One line of text."""
        if not self.quiet:
            tell(text)
