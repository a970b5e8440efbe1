"""Weather files: the same year as EPW and as TMY3 is the same light; holes and halves are refused."""

import pathlib

import numpy as np
import pvlib
import pytest

from tunnelsite.core.errors import InputRefused
from tunnelsite.io.read.weather import read_weather

TMY3 = pathlib.Path(pvlib.__file__).parent / "data" / "723170TYA.CSV"


def _epw(weather, leap: bool = False) -> str:
    """An EPW of the same numbers: hour 1 is the first hour of the day, stamped with its end."""
    head = [
        f"LOCATION,Somewhere,NC,USA,TMY3,723170,{weather.lat_deg},{weather.lon_deg},{weather.utc_offset_h},{weather.altitude_m}"
    ]
    head += [
        "DESIGN CONDITIONS,0",
        "TYPICAL/EXTREME PERIODS,0",
        "GROUND TEMPERATURES,0",
        "HOLIDAYS/DAYLIGHT SAVINGS,No,0,0,0",
    ]
    head += ["COMMENTS 1,", "COMMENTS 2,", "DATA PERIODS,1,1,Data,Sunday, 1/ 1,12/31"]
    rows = []
    date = np.datetime64("2023-01-01")
    for k in range(8760):
        when = date + np.timedelta64(k // 24, "D")
        _, month, day = str(when).split("-")
        values = [1990, int(month), int(day), k % 24 + 1, 0, "?9"] + [0] * 29
        values[13], values[14], values[15] = weather.global_wh[k], weather.beam_normal_wh[k], weather.diffuse_wh[k]
        rows.append(",".join(str(value) for value in values))
        if leap and k == 59 * 24 - 1:
            rows += [",".join(["1992", "2", "29", str(h), "0", "?9"] + ["0"] * 29) for h in range(1, 25)]
    return "\n".join(head + rows) + "\n"


@pytest.fixture(scope="module")
def tmy3():
    return read_weather(TMY3)


@pytest.mark.parametrize("leap", [False, True])
def test_epw_and_tmy3_agree(tmp_path, tmy3, leap):
    path = tmp_path / "same.epw"
    path.write_text(_epw(tmy3, leap).replace("1990", "1992") if leap else _epw(tmy3))
    epw = read_weather(path)
    for name in ("start_s", "month", "day", "beam_normal_wh", "diffuse_wh", "global_wh"):
        assert np.array_equal(getattr(epw, name), getattr(tmy3, name)), name
    assert any("29 February" in note for note in epw.notes) == leap


def test_whole_year_without_a_lost_hour(tmy3):
    """February of this file is of a leap year: the stamp of its last midnight must not fall on the 29th."""
    assert len(tmy3.day) == 8760 and np.array_equal(np.bincount(tmy3.day)[1:], np.full(365, 24))
    assert np.diff(tmy3.start_s).tolist() == [3600] * 8759
    assert len(tmy3.sha256) == 64


def with_holes(text: str, count: int) -> str:
    """The same with the mark for a missing beam in so many hours, spread over the year."""
    lines = text.splitlines(keepends=True)
    for k in np.linspace(8, len(lines) - 1, count).astype(int):
        cells = lines[k].split(",")
        cells[14] = "9999"  # the mark for a missing value in EPW
        lines[k] = ",".join(cells)
    return "".join(lines)


def test_a_few_missing_hours_are_counted_and_weigh_nothing(tmp_path, tmy3):
    path = tmp_path / "few.epw"
    path.write_text(with_holes(_epw(tmy3), 88))
    found = read_weather(path)
    assert any("88 hours (1.0%) without radiation are left out" in note for note in found.notes)
    missing = found.beam_normal_wh != tmy3.beam_normal_wh
    assert 0 < missing.sum() <= 88 and not found.global_wh[missing].any() and not found.diffuse_wh[missing].any()
    assert np.array_equal(
        found.diffuse_wh[~missing & (found.diffuse_wh > 0)], tmy3.diffuse_wh[~missing & (found.diffuse_wh > 0)]
    )


def test_refusals(tmp_path, tmy3):
    text = _epw(tmy3)
    lines = text.splitlines(keepends=True)
    cases = {
        "short.epw": ("".join(lines[:5000]), "hours of the year"),
        "twice.epw": (text + lines[-1], "hours of the year"),
        "word.epw": ("LOCATION,a,b,c,d,e,f\n", "cannot be read|LOCATION"),
        "other.csv": ("a,b\n1,2\n", "neither EPW"),
        "empty.epw": ("", "is empty"),
        "place.epw": (text.replace(str(tmy3.lat_deg), "136.1", 1), "names a station"),
        "holes.epw": (with_holes(text, 500), r"500 hours \(5\.7%\) without dni.*all hours but 5%"),
    }
    for name, (content, words) in cases.items():
        path = tmp_path / name
        path.write_text(content)
        with pytest.raises(InputRefused, match=words):
            read_weather(path)
    for path in (tmp_path / "missing.epw", tmp_path):
        with pytest.raises(InputRefused, match=r"there is no file|is a folder"):
            read_weather(path)


def test_hours_from_0_to_23_are_told_in_words(tmp_path, tmy3):
    lines = _epw(tmy3).splitlines(keepends=True)
    for k in range(8, len(lines)):
        cells = lines[k].split(",")
        cells[3] = str(int(cells[3]) - 1)
        lines[k] = ",".join(cells)
    path = tmp_path / "zero.epw"
    path.write_text("".join(lines))
    with pytest.raises(InputRefused, match=r"counts the hours of a day from 0 to 23.*hours 1 to 24"):
        read_weather(path)


def test_a_tmy3_year_with_29_february_is_read(tmp_path, tmy3):
    lines = TMY3.read_text().splitlines(keepends=True)
    end = 2 + 59 * 24
    leap = ["02/29/1996," + line.split(",", 1)[1] for line in lines[end - 24 : end]]
    path = tmp_path / "leap.csv"
    path.write_text("".join([*lines[:end], *leap, *lines[end:]]))
    found = read_weather(path)
    assert np.array_equal(found.beam_normal_wh, tmy3.beam_normal_wh)
    assert any("29 February" in note for note in found.notes)


def test_names_of_places_in_the_older_alphabet(tmp_path, tmy3):
    path = tmp_path / "seville.epw"
    path.write_bytes(_epw(tmy3).replace("Somewhere", "C\u00e1diz").encode("latin-1"))
    assert np.array_equal(read_weather(path).global_wh, tmy3.global_wh)
