"""The time of a run: that of the clock, or that of SOURCE_DATE_EPOCH where a run is to be repeated to the byte."""

from __future__ import annotations

import os
import re
from collections.abc import Mapping
from datetime import UTC, datetime

from tunnelsite.core.errors import UsageError

VARIABLE = "SOURCE_DATE_EPOCH"


def run_moment(environment: Mapping[str, str] | None = None) -> datetime:
    """The time of the run in UTC.

    Arguments: environment, by default the process's; `SOURCE_DATE_EPOCH` in it (seconds since 1970, reproducible-builds.org) is
    used instead of the clock. Errors: UsageError if that is not a number of seconds.
    """
    given = (os.environ if environment is None else environment).get(VARIABLE, "")
    if not given:
        return datetime.now(UTC)
    try:
        if not re.fullmatch(r"-?[0-9]{1,15}", given, re.ASCII):
            raise ValueError
        return datetime.fromtimestamp(int(given), UTC)
    except (ValueError, OverflowError, OSError):
        raise UsageError(f"{VARIABLE} is {given!r}", "whole seconds since 1970", "correct or unset it") from None
