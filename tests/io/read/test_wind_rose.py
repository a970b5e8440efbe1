"""Wind roses from weather files."""

from __future__ import annotations

from pathlib import Path

import numpy as np
import pytest

from tunnelsite.core.errors import InputRefused
from tunnelsite.core.units import MONTH_DAYS
from tunnelsite.io.read.wind_rose import read_wind_rose, rose_of


def epw(path: Path, direction, speed) -> Path:
    """An EnergyPlus weather file of one year with this wind in every hour."""
    lines = ["LOCATION,Nowhere,XX,YYY,SYN,000000,45.0,-75.0,-5.0,100.0", *[f"HEADER{k}" for k in range(7)]]
    hour = 0
    for month, days in enumerate(MONTH_DAYS, 1):
        for day in range(1, days + 1):
            for h in range(1, 25):
                fields = ["0"] * 35
                fields[:6] = ["2001", str(month), str(day), str(h), "60", "?9?9"]
                fields[20], fields[21] = f"{direction[hour]:g}", f"{speed[hour]:g}"
                lines.append(",".join(fields))
                hour += 1
    path.write_text("\n".join(lines) + "\n")
    return path


def test_shares_go_with_the_square_of_the_speed(tmp_path) -> None:
    """Half of the year 2 m/s from 270, half 4 m/s from 90: pressures as 4 to 16, shares 0.2 and 0.8 (by hand)."""
    direction = np.where(np.arange(8760) % 2, 90.0, 270.0)
    speed = np.where(np.arange(8760) % 2, 4.0, 2.0)
    rose = read_wind_rose(epw(tmp_path / "a.epw", direction, speed))
    shares = dict(zip(rose.from_deg.tolist(), rose.share.tolist(), strict=True))
    assert shares[270.0] == pytest.approx(0.2) and shares[90.0] == pytest.approx(0.8)
    assert sum(shares.values()) == pytest.approx(1.0) and len(rose.sha256) == 64
    assert "90:0.8, 270:0.2" in rose.text()


def test_missing_and_calm_hours(tmp_path) -> None:
    direction, speed = np.full(8760, 180.0), np.full(8760, 3.0)
    direction[:100], speed[100:200], speed[200:5000] = 999, 999, 0.0
    rose = read_wind_rose(epw(tmp_path / "a.epw", direction, speed))
    assert rose.share[18] == pytest.approx(1.0)
    assert any("200 hours without wind left out" in note for note in rose.notes)
    for bad in (np.full(8760, 999.0), np.zeros(8760)):
        with pytest.raises(InputRefused, match="wind"):
            read_wind_rose(epw(tmp_path / "b.epw", direction, bad))


def test_tens_of_degrees_and_north_is_both_0_and_360() -> None:
    away, share = rose_of(np.array([0, 360, 4, 356, 94, 96]), np.ones(6))
    assert share[0] == pytest.approx(4 / 6) and share[9] == pytest.approx(1 / 6) and share[10] == pytest.approx(1 / 6)
    assert away[9] == 90


def test_what_is_no_weather_file_is_refused(tmp_path) -> None:
    text = tmp_path / "x.csv"
    text.write_text("hello\nworld\n")
    for path in (text, tmp_path / "none.epw"):
        with pytest.raises(InputRefused):
            read_wind_rose(path)
