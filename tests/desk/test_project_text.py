"""Changes of a project file keep what the user wrote."""

from __future__ import annotations

import tomllib
from pathlib import Path

import pytest
from hypothesis import given
from hypothesis import strategies as st

from tests.desk.fields import FARM
from tunnelsite.core.errors import UsageError
from tunnelsite.desk.project_text import changed

FILE = Path("farm.toml")
LISTED = (
    FARM
    + 'keep_out = [\n    "a.gpkg@3m",   # the well\n    "b.gpkg",\n]\n\n[service]\nwater = "w.gpkg"  # by the barn\n'
)


def test_comments_and_order_stay() -> None:
    text = changed(LISTED, FILE, {"setback": "20ft", "crop_months": "01-01:12-31", "weight": {"sun": 3}}, ["top"])
    for kept in ("# kept by hand", "# the usual one", "# the well", "# by the barn"):
        assert kept in text
    found = tomllib.loads(text)
    assert found["setback"] == "20ft" and found["weight"] == {"sun": 3} and "top" not in found
    assert found["service"] == {"water": "w.gpkg"}, "a plain key behind a table would have become a part of it"


def test_entries_of_a_list_come_and_go_one_by_one() -> None:
    text = changed(LISTED, FILE, {"keep_out": ["a.gpkg@3m", "c.gpkg@10ft"]})
    assert tomllib.loads(text)["keep_out"] == ["a.gpkg@3m", "c.gpkg@10ft"] and "# the well" in text


def test_entries_of_a_table_come_and_go_one_by_one() -> None:
    text = changed(LISTED, FILE, {"service": {"power": "p.gpkg", "water": None}})
    assert tomllib.loads(text)["service"] == {"power": "p.gpkg"}


@pytest.mark.parametrize(
    "new", [{"setback": "20 furlongs"}, {"nonsense": 1}, {"house": ["96x30ft"]}, {"crop_months": "13-01:01-01"}]
)
def test_wrong_values_are_refused_in_words(new: dict) -> None:
    with pytest.raises(UsageError) as refused:
        changed(LISTED, FILE, new)
    assert refused.value.expected


def test_broken_file_is_not_written_over() -> None:
    with pytest.raises(UsageError, match="nothing was changed"):
        changed("dem = [", FILE, {"setback": "1m"})


@given(st.lists(st.sampled_from(["a.gpkg@3m", "b.gpkg", "c.gpkg", "d.gpkg@1ft"]), unique=True, max_size=4))
def test_list_becomes_what_was_asked_for(wanted: list[str]) -> None:
    assert tomllib.loads(changed(LISTED, FILE, {"keep_out": wanted}))["keep_out"] == wanted
