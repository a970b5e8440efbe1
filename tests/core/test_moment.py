"""The time of a run."""

from __future__ import annotations

import re

import pytest

from tunnelsite.core.errors import UsageError
from tunnelsite.core.moment import run_moment
from tunnelsite.io.formats.geopackage import run_stamp
from tunnelsite.screening.run_table import stamp


def test_one_reading_of_the_variable_for_every_stamp(monkeypatch) -> None:
    monkeypatch.setenv("SOURCE_DATE_EPOCH", "1700000000")  # `date -u -d @1700000000`: 2023-11-14 22:13:20
    assert (stamp(), run_stamp()) == ("2023-11-14T22:13:20Z", "2023-11-14T22:13:20.000Z")


@pytest.mark.parametrize("value", ["abc", "1e9", "9" * 15, "1_000", "１７", "1.5"])
def test_what_is_no_number_of_seconds_is_refused_by_every_stamp(monkeypatch, value) -> None:
    monkeypatch.setenv("SOURCE_DATE_EPOCH", value)
    for reader in (run_moment, run_stamp, stamp):
        with pytest.raises(UsageError, match=f"SOURCE_DATE_EPOCH is {re.escape(repr(value))}"):
            reader()
