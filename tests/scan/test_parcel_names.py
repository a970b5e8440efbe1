"""One name a parcel, and a word where the file gives one name to several."""

from __future__ import annotations

import numpy as np
import shapely
from hypothesis import given
from hypothesis import strategies as st
from rasterio.transform import Affine

from tests.whole_run.files import NORTH, UTM17, WEST, gentle, write_dem, write_parcels
from tunnelsite import Settings, read_site, screen
from tunnelsite.core.house import House
from tunnelsite.core.layers import Features
from tunnelsite.scan.parcel_names import MOST_TOLD, unique_names, with_names_noted


def parcels(*names: str | None) -> Features:
    shapes = np.array([shapely.box(k, 0, k + 1, 1) for k in range(len(names))], object)
    return Features(shapes, {"Name": np.array(names, object)}, name="parcels.gpkg")


def test_parcels_get_one_name_each() -> None:
    named = parcels("North", " North ", None, "nan")
    assert unique_names(named) == ["North", "North (2)", "parcel 3", "parcel 4"]
    assert unique_names(Features(named.geometry[:2])) == ["parcel 1", "parcel 2"]


def test_the_number_of_a_county_names_a_parcel_that_has_no_name() -> None:
    """PIN and APN, parcel identification and assessor's parcel number: the usual columns of county parcels (common practice, no source)."""
    shapes = parcels("a", "b").geometry
    for column in ("PIN", "APN", "ParcelID"):
        numbered = Features(shapes, {"acres": np.array([1.0, 2.0]), column: np.array([1402, 1403])})
        assert unique_names(numbered) == ["1402", "1403"]
    both = {"PIN": np.array([1402, 1403]), "Name": np.array(["North", "South"], object)}
    assert unique_names(Features(shapes, both)) == ["North", "South"]


@given(st.lists(st.sampled_from(["A", "A (2)", "A (2) (2)", "B", ""]), max_size=12))
def test_no_two_parcels_share_a_name_and_the_first_keeps_its_own(given_names: list[str]) -> None:
    found = unique_names(parcels(*given_names))
    assert len(set(found)) == len(found)
    for name in {name for name in given_names if name}:
        assert found[given_names.index(name)] == name


def test_a_name_that_several_share_is_said_with_what_they_are_called() -> None:
    assert with_names_noted(parcels("A", "B")).notes == ()
    [note] = with_names_noted(parcels("F00", "F01", "F00", "F01", "F00")).notes
    assert "the same name" in note and note.endswith("F00, F00 (2) and F00 (3); F01 and F01 (2)")
    [many] = with_names_noted(parcels(*["F"] * 40)).notes
    assert many.endswith("F, F (2) ... F (40)")
    [names] = with_names_noted(parcels(*[f"N{k // 2}" for k in range(2 * MOST_TOLD + 6)])).notes
    assert names.endswith("; and 3 more names")


def test_the_note_reaches_the_run_table(tmp_path) -> None:
    dem = write_dem(tmp_path / "dem.tif", gentle(60, 90), Affine(1, 0, WEST, 0, -1, NORTH), UTM17)
    fields = [shapely.box(WEST + 40 * k + 5, NORTH - 50, WEST + 40 * k + 40, NORTH - 10) for k in range(2)]
    path = write_parcels(tmp_path / "parcels.gpkg", fields, UTM17, parcel=["F00", "F00"])
    result = screen(read_site(str(dem), str(path)), House(6, 12), settings=Settings(halo_m=10, azimuths=8, top=2))
    notes = [row for row in result.tables["run"].rows if row["kind"] == "note" and row["name"] == "parcels.gpkg"]
    assert any("F00 and F00 (2)" in row["value"] for row in notes)
