"""An option that a command has not is answered with the one that is meant."""

from __future__ import annotations

import pytest

from tests.hosts.cli.test_main import called


@pytest.mark.parametrize(
    ("words", "fix"),
    [
        (("cost", "s.gpkg", "--rank", "1"), "Fix: write --ranks."),
        (("grading", "s.gpkg", "--ranks", "1"), "Fix: write --rank."),
        (("grading", "s.gpkg", "--weight", "sun=2"), "Fix: leave it out; it is an option of `screen`"),
        (("screen", "d.tif", "p.gpkg", "--clearence", "3m"), "Fix: did you mean '--clearance'?"),
    ],
)
def test_the_fix_names_the_option_that_is_meant(words, fix) -> None:
    told = called(*words)
    assert told.returncode == 2 and "is no option of" in told.stderr and fix in told.stderr


def test_an_option_without_its_value_is_answered_with_what_the_value_is() -> None:
    """`report s.gpkg --pdf` reads like a switch: the answer says that a file is wanted."""
    told = called("report", "s.gpkg", "--pdf", "--client")
    assert told.returncode == 2 and "Expected: one value after it, as --pdf FILE." in told.stderr
