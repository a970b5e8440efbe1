"""A field horizon is read, turned to true north, or refused with the line and the cure."""

import pytest

from tunnelsite.core.errors import InputRefused, UsageError
from tunnelsite.io.read.field_horizon import read_field_readings
from tunnelsite.sun.field_horizon import measured_horizon

GOOD = "azimuth_deg,elevation_deg,remark\n0,2,\n90,10,barn\n180,5,\n270,1,\n"


def _file(tmp_path, text, encoding="utf-8"):
    path = tmp_path / "field.csv"
    path.write_text(text, encoding)
    return path


def test_true_north(tmp_path):
    found = measured_horizon(read_field_readings(_file(tmp_path, GOOD)), north="true")
    assert found.horizon.azimuth_deg.tolist() == [0, 90, 180, 270]
    assert found.horizon.elevation_deg.tolist() == [2, 10, 5, 1]
    assert any("straight line" in note for note in found.notes)


def test_declination_is_added_and_passes_north(tmp_path):
    found = measured_horizon(read_field_readings(_file(tmp_path, GOOD)), north="magnetic", declination_deg=-13.7)
    assert found.horizon.azimuth_deg == pytest.approx([76.3, 166.3, 256.3, 346.3])
    assert found.horizon.elevation_deg.tolist() == [10, 5, 1, 2]


def test_other_spellings(tmp_path):
    text = "# walked on a frosty morning\n\n Elevation_deg ; AZIMUTH_DEG\n2;0\n\n10;90\n-3;180\n"
    found = measured_horizon(read_field_readings(_file(tmp_path, text, "utf-8-sig")), north="true")
    assert found.horizon.elevation_deg.tolist() == [2, 10, 0]


@pytest.mark.parametrize(
    ("north", "declination", "words"),
    [
        ("grid", None, "grid"),
        ("magnetic", None, "no declination"),
        ("true", 3.0, "declination"),
        ("magnetic", 400.0, "400"),
        ("magnetic", float("nan"), "nan"),
    ],
)
def test_north_has_to_be_said(tmp_path, north, declination, words):
    with pytest.raises(UsageError, match=words):
        measured_horizon(read_field_readings(_file(tmp_path, GOOD)), north=north, declination_deg=declination)


@pytest.mark.parametrize(
    ("text", "words"),
    [
        ("", "empty"),
        ("azimuth,elevation\n0,1\n", "columns azimuth, elevation"),
        ("azimuth_deg,azimuth_deg,elevation_deg\n0,1,1\n", "columns"),
        ("azimuth_deg,elevation_deg\n0,1\n90,2\n", "2 readings"),
        (GOOD + "300,x\n", "line 6"),
        (GOOD + "300\n", "line 6"),
        (GOOD + "300,nan\n", "line 6"),
        (GOOD + "361,1\n", "line 6"),
        (GOOD + "300,91\n", "line 6"),
        (GOOD + "300,-11\n", "line 6"),
        (GOOD + "360,4\n", "twice"),
        (GOOD + '"300,5",1\n', "line 6"),
    ],
)
def test_refusals_name_the_line(tmp_path, text, words):
    with pytest.raises(InputRefused, match=words):
        measured_horizon(read_field_readings(_file(tmp_path, text)), north="true")


def test_files_that_are_none(tmp_path):
    binary = tmp_path / "b.csv"
    binary.write_bytes(b"\xff\xfe\x00\x01" * 10)
    for path in (tmp_path / "missing.csv", tmp_path, binary):
        with pytest.raises(InputRefused, match="cannot be read"):
            measured_horizon(read_field_readings(path), north="true")
