"""Names from data stay inside their folder and their table, and apart from each other."""

from __future__ import annotations

import unicodedata

import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from tunnelsite.io.names import column_names, safe_name, safe_names

# --- output-11: names from data


@pytest.mark.parametrize(
    ("text", "name"),
    [
        ("../../etc/x", "etc_x"),
        ("CON", "CON_"),
        ("con.txt", "con_.txt"),
        ("COM1", "COM1_"),
        ("Lpt².a", "Lpt²_.a"),
        ("CONSOLE", "CONSOLE"),
        ("a/b", "a_b"),
        ("a\\b", "a_b"),
        ("trailing.", "trailing"),
        ("trailing ", "trailing"),
        (".hidden", "hidden"),
        ("-rf", "rf"),
        ("", "unnamed"),
        ("...", "unnamed"),
        ("\0\n\t", "unnamed"),
        ("Åker 7 öst", "Åker_7_öst"),
        ("खेत", "खेत"),
        ("地块三", "地块三"),
        ("a\u202egnp.exe", "a_gnp.exe"),
        ("50% <&> \"'|?*:", "50"),
        ("North 40, v1.2", "North_40_v1.2"),
        ("\ud800x", "x"),
    ],
)
def test_output_11_safe_names(text, name):
    assert safe_name(text) == name


def test_output_11_duplicates_are_told_apart_whatever_the_case_or_composition():
    assert safe_names(["a", "A", "a", "a/", "a-2"]) == ["a", "A-2", "a-3", "a-4", "a-2-2"]
    assert safe_names(["é", unicodedata.normalize("NFD", "é")]) == ["é", "é-2"]
    long = safe_names(["x" * 500, "x" * 500 + "y"])
    assert long[0] != long[1] and max(map(len, long)) <= 82


@settings(max_examples=300, deadline=None)
@given(st.lists(st.text(max_size=60), max_size=8))
def test_output_11_no_text_leads_out_of_the_folder(texts):
    names = safe_names(texts)
    assert len({unicodedata.normalize("NFC", name).casefold() for name in names}) == len(texts)
    for name in names:
        assert name and len(name.encode()) <= 90 and name not in (".", "..")
        assert (
            not set(name) & set('/\\:*?"<>|\0') and name.isprintable() and name[0] not in ".- " and name[-1] not in ". "
        )
        assert name.split(".")[0].upper() not in {
            "CON",
            "PRN",
            "AUX",
            "NUL",
            *(f"COM{i}" for i in range(10)),
            *(f"LPT{i}" for i in range(10)),
        }


# --- output-17: column names


def test_output_17_colliding_columns_are_renamed_as_documented():
    assert column_names(["fid", "Name", "name", "geom", "FID", "id", ""]) == {
        "fid": "fid_1", "Name": "Name", "name": "name_1", "geom": "geom_1", "FID": "FID_2", "id": "id",
        "": "column",
    }  # fmt: skip
    assert column_names(["fid", "fid_1"]) == {"fid": "fid_2", "fid_1": "fid_1"}


@settings(max_examples=300, deadline=None)
@given(
    st.lists(
        st.text(max_size=10) | st.sampled_from(["fid", "FID", "geom", "a", "A", "fid_1"]),
        max_size=8,
        unique=True,
    )
)
def test_output_17_columns_are_always_different(names):
    columns = column_names(names)
    assert list(columns) == names
    folded = [column.casefold() for column in columns.values()]
    assert len(set(folded)) == len(names) and not set(folded) & {"fid", "geom", "rowid", "oid", "_rowid_", ""}
