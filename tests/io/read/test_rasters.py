"""Reading rasters: every kind of bad input that concerns a DEM's content, and what the readings
must equal."""

import warnings

import numpy as np
import pyproj
import pytest
import rasterio
from rasterio import Affine
from rasterio.enums import ColorInterp

from tests.io.rasters_made import NORTH_UP, hill, write
from tunnelsite.core.errors import InputRefused, ResourceShortage, UsageError
from tunnelsite.core.grid import local_crs
from tunnelsite.core.units import US_SURVEY_FOOT_M
from tunnelsite.io.read.heights import StoredHeights, heights
from tunnelsite.io.read.rasters import check_has_data, raster_header, read_raster, unchanged

pytestmark = pytest.mark.filterwarnings("ignore::rasterio.errors.NotGeoreferencedWarning")


def read(path, crs=None, **settings):
    return read_raster(raster_header(path, crs=crs), **settings)


def metres(raster):
    return raster.values.astype("float64") + raster.datum_m


def noted(raster, words):
    return any(words in note for note in raster.notes)


def test_heights_come_back_to_a_tenth_of_a_millimetre_above_a_whole_datum(tmp_path):
    values = hill().astype("float64") + 0.12345
    raster = read(write(tmp_path / "d.tif", values))
    assert raster.values.dtype == np.float32 and raster.datum_m == round(float(np.median(values)))
    np.testing.assert_allclose(metres(raster), values, rtol=0, atol=1e-6)
    assert raster.affine == tuple(NORTH_UP)[:6] and raster.crs.to_epsg() == 32615 and len(raster.sha256) == 64


def test_window_is_the_same_cells_as_the_whole(tmp_path):
    path = write(tmp_path / "d.tif", hill(200, 300), tiled=True, blockxsize=64, blockysize=64, compress="deflate")
    whole = metres(read(path))
    part = read(path, bounds=(500010.5, 4599900.0, 500100.0, 4599950.2))
    assert part.values.shape == (51, 90) and part.affine[2] == 500010 and part.affine[5] == 4599951
    np.testing.assert_allclose(metres(part), whole[49:100, 10:100], rtol=0, atol=1e-5)
    clipped = read(path, bounds=(499000, 4599990, 500005, 4700000))
    assert clipped.values.shape == (10, 5)


def test_crs_13_window_off_the_raster_says_both_extents(tmp_path):
    with pytest.raises(InputRefused, match=r"600000.*this one lies at 500000"):
        read(write(tmp_path / "d.tif", hill()), bounds=(600000, 4600000, 600100, 4600100))


def test_dem_file_09_sparse_raster_windowed_or_refused(tmp_path):
    path = tmp_path / "sparse.tif"
    side = 300_000
    with rasterio.open(
        path, "w", driver="GTiff", width=side, height=side, count=1, dtype="float32", crs="EPSG:32615", tiled=True,
        blockxsize=2048, blockysize=2048, SPARSE_OK=True, BIGTIFF="YES", transform=NORTH_UP,
    ) as target:  # fmt: skip
        target.write(hill(), 1, window=rasterio.windows.Window(2040, 0, 50, 40))
    header = raster_header(path)
    with pytest.raises(ResourceShortage, match=r"300000 rows x 300000 columns.*GB"):
        read_raster(header)
    west = NORTH_UP.c
    part = read_raster(header, bounds=(west + 2040, NORTH_UP.f - 40, west + 2090, NORTH_UP.f))
    assert np.isfinite(part.values).all()
    missing = read_raster(header, bounds=(west + 9000, NORTH_UP.f - 40, west + 9050, NORTH_UP.f))
    assert np.isnan(missing.values).all()  # blocks never written are not heights of 0
    with pytest.raises(InputRefused, match="no valid cell"):
        check_has_data(missing)


def test_dem_file_19_bands_must_be_chosen(tmp_path):
    path = write(tmp_path / "rgb.tif", np.stack([np.full((9, 9), n, "uint8") for n in (10, 20, 30)]), photometric="RGB")
    with pytest.raises(UsageError, match=r"3 bands: 1 \(red uint8\), 2 \(green uint8\), 3 \(blue uint8\)"):
        read(path)
    with pytest.raises(UsageError, match="band 4"):
        read(path, band=4)
    assert (metres(read(path, band=2, vertical_unit="m")) == 20).all()


def test_dem_file_21_complex_refused_and_64_bit_integers_kept(tmp_path):
    with pytest.raises(InputRefused, match="complex"):
        read(write(tmp_path / "c.tif", np.ones((9, 9), "complex64")))
    values = np.full((9, 9), 301, "int64")
    values[0, 0], values[0, 1] = 2**40 + 301, -(2**40)  # would wrap to 301 and 0 in 32 bits
    raster = read(write(tmp_path / "i.tif", values), vertical_unit="m")
    assert np.isnan(raster.values[0, :2]).all() and (metres(raster)[1:] == 301).all()


def test_dem_file_23_internal_mask_and_alpha(tmp_path):
    mask = np.full((40, 50), 255, "uint8")
    mask[3:5, 7] = 0
    raster = read(write(tmp_path / "m.tif", hill(), mask=mask))
    assert np.array_equal(np.isnan(raster.values), mask == 0)
    bands = np.stack([hill().astype("uint16"), mask.astype("uint16")])
    path = write(tmp_path / "a.tif", bands, colorinterp=[ColorInterp.gray, ColorInterp.alpha])
    assert np.array_equal(np.isnan(read(path, vertical_unit="m").values), mask == 0)


def test_dem_file_25_changed_while_read(tmp_path, monkeypatch):
    path = write(tmp_path / "d.tif", hill())
    header = raster_header(path)
    raster = read_raster(header)
    assert unchanged(header) and unchanged(header, raster.sha256)
    path.touch()
    assert not unchanged(header) and unchanged(header, raster.sha256)  # touched, same content
    write(path, hill() + 1)
    assert not unchanged(header, raster.sha256)
    with pytest.raises(InputRefused, match="changed"):
        read_raster(header)
    path.unlink()
    assert not unchanged(header, raster.sha256)


def test_dem_file_25_changed_during_the_read_itself(tmp_path, monkeypatch):
    path = write(tmp_path / "d.tif", hill())
    header = raster_header(path)
    from tunnelsite.io.read import rasters

    def meanwhile(found):
        write(path, hill() + 1)
        return "x"

    monkeypatch.setattr(rasters, "sha256", meanwhile)
    with pytest.raises(InputRefused):
        read_raster(header)


def test_crs_01_without_coordinate_system(tmp_path):
    path = write(tmp_path / "d.tif", hill(), crs=None)
    with pytest.raises(InputRefused, match=r"no coordinate system.*never guessed.*--dem-crs EPSG:"):
        raster_header(path)
    raster = read(path, crs="EPSG:26915")
    assert raster.crs.to_epsg() == 26915 and noted(raster, "as stated")
    with pytest.raises(UsageError, match="EPSG"):
        raster_header(path, crs="EPSG:999999")
    against = read(write(tmp_path / "e.tif", hill()), crs="EPSG:26915")
    assert against.crs.to_epsg() == 26915 and noted(against, "although the file says")


def test_crs_03_degrees_are_read_as_they_are(tmp_path):
    raster = read(
        write(tmp_path / "d.tif", hill(), crs="EPSG:4326", transform=Affine(1 / 3600, 0, -93, 0, -1 / 3600, 42))
    )
    assert raster.crs.is_geographic and raster.affine[0] == 1 / 3600


def test_crs_05_survey_foot_map_with_metre_heights(tmp_path):
    path = write(tmp_path / "d.tif", hill(), crs="EPSG:2263", units=["metre"])
    raster = read(path)
    assert raster.unit == "m" and raster.crs.axis_info[0].unit_conversion_factor == pytest.approx(
        US_SURVEY_FOOT_M, rel=1e-12
    )
    np.testing.assert_allclose(metres(raster), hill(), atol=1e-4)
    assert noted(raster, "heights are in m by its band")


def test_crs_07_unit_assumed_is_always_said(tmp_path):
    path = write(tmp_path / "d.tif", hill() * 3.2808)
    assert noted(read(path), "assumed metres")
    given = read(path, vertical_unit="ft")
    assert given.unit == "ft" and noted(given, "as stated") and not noted(given, "assumed")
    np.testing.assert_allclose(metres(given), hill().astype(float) * 3.2808 * 0.3048, atol=1e-4)


@pytest.mark.parametrize(
    "option, answer",
    [("DEM", "--elevation-unit"), ("--surface", "--elevation-unit"), ("--far-dem", "--far-elevation-unit")],
)
@pytest.mark.parametrize("code, unit", [("EPSG:2263", "us-ft"), ("EPSG:2994", "ft")])
def test_crs_07_feet_map_without_a_unit_is_a_question(tmp_path, code, unit, option, answer):
    header = raster_header(write(tmp_path / "d.tif", hill(), crs=code), option)
    with pytest.raises(InputRefused, match=rf"carry no unit.*say {answer} {unit}\b.*or {answer} m;") as asked:
        read_raster(header)
    assert asked.value.exit_status == 3 and answer[2:].replace("-", "_") in str(asked.value)
    for given in (unit, "m"):
        assert read_raster(header, vertical_unit=given).unit == given


def test_whole_numbers_without_a_unit_are_a_question(tmp_path):
    values = np.round(hill().astype(float) * 100).astype("int32")
    path = write(tmp_path / "d.tif", values)
    with pytest.raises(InputRefused, match=r"whole numbers.*say --elevation-unit m, dm, cm, ft or us-ft"):
        read(path)
    np.testing.assert_allclose(metres(read(path, vertical_unit="cm")), hill(), atol=0.006)
    tenths = write(tmp_path / "e.tif", np.round(hill().astype(float) * 10).astype("int16"))
    np.testing.assert_allclose(metres(read(tenths, vertical_unit="dm")), hill(), atol=0.06)
    assert read(write(tmp_path / "f.tif", values, units=["cm"])).unit == "cm"
    wide = write(tmp_path / "g.tif", hill().astype("int16"), transform=Affine(30, 0, 500000, 0, -30, 4600000))
    assert noted(read(wide), "assumed metres")  # models from orbit are published in whole metres


@pytest.mark.parametrize(
    "written, factor",
    [
        ("m", 1.0),
        ("Metre", 1.0),
        ("meters", 1.0),
        ("ft", 0.3048),
        ("foot", 0.3048),
        ("US survey foot", US_SURVEY_FOOT_M),
    ],
)
def test_crs_09_band_unit_factor(tmp_path, written, factor):
    raster = read(write(tmp_path / "d.tif", hill().astype("float64"), units=[written]))
    np.testing.assert_allclose(metres(raster), hill().astype(float) * factor, atol=1e-5)


@pytest.mark.parametrize(
    "code, unit", [("EPSG:2263+6360", "us-ft"), ("EPSG:2222+8228", "ft"), ("EPSG:26915+5703", "m")]
)
def test_crs_09_vertical_unit_of_a_compound_system(tmp_path, code, unit):
    raster = read(write(tmp_path / "d.tif", hill(), crs=code))
    assert raster.unit == unit and noted(raster, f"heights are in {unit} by its coordinate system")
    assert not raster.crs.is_compound
    contradicted = read(tmp_path / "d.tif", vertical_unit="m" if unit != "m" else "ft")
    assert noted(contradicted, f"although its coordinate system says {unit}")


def test_unknown_units_are_not_guessed(tmp_path):
    path = write(tmp_path / "d.tif", hill(), units=["cubits"])
    with pytest.raises(UsageError, match="cubits"):
        read(path)
    assert read(path, vertical_unit="m").unit == "m"
    with pytest.raises(UsageError, match="m, ft, us-ft, dm or cm"):
        read(path, vertical_unit="yards")


def test_crs_15_engineering_system_is_read_but_has_no_north(tmp_path):
    raster = read(write(tmp_path / "d.tif", hill(), crs=rasterio.crs.CRS.from_wkt('LOCAL_CS["site",UNIT["metre",1]]')))
    with pytest.raises(InputRefused, match="no link"):
        local_crs(raster.crs, -93, 42)


def test_grid_01_south_up_is_its_north_up_twin_to_the_bit(tmp_path):
    values = hill()
    for corner, cell in ((4600000, 1.0), (4600000.3, 0.7)):
        north = write(tmp_path / "n.tif", values, transform=Affine(cell, 0, 500000.1, 0, -cell, corner))
        south = write(
            tmp_path / "s.tif", values[::-1], transform=Affine(cell, 0, 500000.1, 0, cell, corner - 40 * cell)
        )
        one, other = read(north), read(south)
        assert one.values.tobytes() == other.values.tobytes() and one.affine == other.affine
        assert one.datum_m == other.datum_m
        box = (500004.0, corner - 20.0, 500011.0, corner - 10.0)
        assert read(north, bounds=box).values.tobytes() == read(south, bounds=box).values.tobytes()


def test_grid_01_east_to_west_raster_is_turned_too(tmp_path):
    values = hill()
    other = read(write(tmp_path / "w.tif", values[::-1, ::-1], transform=Affine(-1, 0, 500050, 0, 1, 4599960)))
    mirrored = read(write(tmp_path / "m.tif", values[:, ::-1], transform=Affine(-1, 0, 500050, 0, -1, 4600000)))
    one = read(write(tmp_path / "n.tif", values))
    for raster in (other, mirrored):
        assert raster.affine == one.affine and raster.values.tobytes() == one.values.tobytes()


def rotated(degrees):
    sine, cosine = np.sin(np.radians(degrees)), np.cos(np.radians(degrees))
    return Affine(cosine, sine, 500000, sine, -cosine, 4600000)


def at(affine, col, row):
    return affine.a * col + affine.b * row + affine.c, affine.d * col + affine.e * row + affine.f


def test_turned_raster_keeps_its_affine_and_windows(tmp_path):
    turned = rotated(20)
    path = write(tmp_path / "r.tif", hill(), transform=turned)
    whole = read(path)
    np.testing.assert_allclose(whole.affine, tuple(turned)[:6], rtol=0, atol=1e-9)
    east, north = at(turned, 20.5, 15.5)
    part = read(path, bounds=(east - 2, north - 2, east + 2, north + 2))
    col, row = at(~Affine(*part.affine), east, north)
    assert metres(part)[int(row), int(col)] == pytest.approx(float(hill()[15, 20]), abs=1e-5)


def test_grid_03_cells_that_are_not_square(tmp_path):
    raster = read(write(tmp_path / "d.tif", hill(), transform=Affine(1, 0, 500000, 0, -2, 4600000)))
    assert raster.affine[0] == 1 and raster.affine[4] == -2


def patched(path, before, after):
    content = path.read_bytes()
    assert content.count(before) == 1
    path.write_bytes(content.replace(before, after))
    return path


@pytest.mark.parametrize("bad", [float("nan"), float("inf"), 0.0])
def test_grid_05_geotransform_that_is_no_place(tmp_path, bad):
    scale = np.array([1.0, 1.0, 0.0]).tobytes()
    path = patched(write(tmp_path / "d.tif", hill()), scale, np.array([bad, 1.0, 0.0]).tobytes())
    with pytest.raises(InputRefused, match=r"geotransform|where it lies"):
        raster_header(path)


def test_grid_05_no_georeferencing_at_all(tmp_path):
    path = write(tmp_path / "d.tif", hill(), transform=None)
    with pytest.raises(InputRefused, match="where it lies"):
        raster_header(path)
    (tmp_path / "d.tfw").write_text("1\n0\n0\n-1\n500000.5\n4599999.5\n")
    raster = read(path)
    assert raster.affine == tuple(NORTH_UP)[:6] and noted(raster, "'d.tfw'")
    (tmp_path / "d.tfw").write_text("1\n0\n")
    with pytest.raises(InputRefused, match="world file"):
        raster_header(path)


@pytest.mark.parametrize("shape", [(1, 50), (50, 1), (2, 2)])
def test_grid_09_too_few_cells(tmp_path, shape):
    with pytest.raises(InputRefused, match=f"{shape[0]} rows and {shape[1]} columns"):
        raster_header(write(tmp_path / "d.tif", np.ones(shape, "float32")))


def test_values_01_declared_nodata_is_exactly_that(tmp_path):
    values = hill()
    values[5:9, 6:9] = -9999
    raster = read(write(tmp_path / "d.tif", values, nodata=-9999))
    assert np.array_equal(np.isnan(raster.values), values == -9999) and not noted(raster, "without being declared")


@pytest.mark.parametrize(
    "dtype, nodata",
    [("float32", np.nan), ("float64", np.nan), ("uint8", 255), ("int16", 32767), ("int16", -32768), ("float32", -9999.9),
     ("float32", float(np.finfo("float32").min)), ("float64", 1e300), ("int32", 0), ("float32", 305.0)],
)  # fmt: skip
def test_values_03_every_kind_of_nodata(tmp_path, dtype, nodata):
    values = np.full((9, 9), 200, dtype)
    values[2, 3:5] = nodata
    raster = read(write(tmp_path / "d.tif", values, nodata=nodata), vertical_unit="m")
    gone = np.zeros((9, 9), bool)
    gone[2, 3:5] = True
    assert np.array_equal(np.isnan(raster.values), gone) and (metres(raster)[~gone] == 200).all()
    assert not noted(raster, "without being declared")


def test_values_03_nodata_that_the_numbers_cannot_hold(tmp_path):
    values = np.full((9, 9), 200, "uint8")
    path = patched(write(tmp_path / "d.tif", values, nodata=254.0), b"254\0", b"-99\0")
    assert (metres(read(path, vertical_unit="m")) == 200).all()
    half = read(write(tmp_path / "e.tif", np.full((9, 9), 2, "int16"), nodata=1.5), vertical_unit="m")
    assert (metres(half) == 2).all()


@pytest.mark.parametrize("value", [-9999, -32768, -99999, 3.4e38, -3.4e38, 1e6, np.inf, -np.inf, np.nan, 32767])
def test_undeclared_voids_are_no_data_and_said(tmp_path, value):
    values = hill()
    values[4, 4:7] = value
    raster = read(write(tmp_path / "d.tif", values))
    assert np.isnan(raster.values[4, 4:7]).all() and np.isnan(raster.values).sum() == 3
    assert noted(raster, "3 cells hold") != np.isnan(value)


def test_zeros_far_from_all_ground_are_voids(tmp_path):
    values = hill()
    values[4, 4:7] = 0
    path = write(tmp_path / "d.tif", values)
    raster = read(path)
    assert np.isnan(raster.values).sum() == 3 and noted(raster, "no other height is within 20 m")
    assert (metres(read(path, zero_is_nodata=False))[4, 4:7] == 0).all()


def test_zeros_near_ground_are_kept_and_said(tmp_path):
    values = hill() - 300
    values[:, :10] = 0
    path = write(tmp_path / "d.tif", values)
    raster = read(path)
    assert not np.isnan(raster.values).any() and noted(raster, "(20 % of those with data) are exactly 0")
    dropped = read(path, zero_is_nodata=True)
    assert np.isnan(dropped.values).sum() == 400 and noted(dropped, "as asked")
    shore = np.tile(np.arange(-2, 8, dtype="int16"), (20, 3))  # whole metres near the sea: 0 is one height among others
    assert not noted(read(write(tmp_path / "e.tif", shore), vertical_unit="m"), "exactly 0")


def test_values_05_nothing_but_nodata(tmp_path):
    raster = read(write(tmp_path / "d.tif", np.full((9, 9), -9999, "float32"), nodata=-9999))
    with pytest.raises(InputRefused, match="no valid cell in the parcels"):
        check_has_data(raster)
    check_has_data(read(write(tmp_path / "e.tif", hill())))


def test_values_07_flat_stays_flat(tmp_path):
    assert len(np.unique(read(write(tmp_path / "d.tif", np.full((9, 9), 123.456, "float32"))).values)) == 1


def test_values_09_and_11_spike_and_step_come_through(tmp_path):
    values = hill()
    values[9, 9] += 3
    values[:, 30:] += np.float32(0.3)
    np.testing.assert_allclose(metres(read(write(tmp_path / "d.tif", values))), values, atol=1e-5)


def test_scale_and_offset(tmp_path):
    stored = np.round((hill().astype(float) - 100) * 100).astype("int32")
    stored[0, 0] = -1
    raster = read(write(tmp_path / "d.tif", stored, scales=[0.01], offsets=[100.0], nodata=-1))
    np.testing.assert_allclose(metres(raster)[1:], hill()[1:], atol=0.006)
    assert np.isnan(raster.values[0, 0]) and noted(raster, "times 0.01 plus 100")


def test_ascii_grid_with_projection_beside_it(tmp_path):
    path = tmp_path / "d.asc"
    rows = ["7 " * 400] * 200 + ["7.25 " * 400]  # the first 100 kB hold whole numbers only
    path.write_text("ncols 400\nnrows 201\nxllcorner 500000\nyllcorner 4599799\ncellsize 1\n" + "\n".join(rows))
    (tmp_path / "d.prj").write_text(pyproj.CRS(26915).to_wkt("WKT1_ESRI"))
    raster = read(path)
    assert raster.crs.equals(pyproj.CRS(26915), ignore_axis_order=True) or "UTM" in raster.crs.name
    assert metres(raster)[200, 0] == 7.25 and metres(raster)[0, 0] == 7


def test_settings_beside_the_file_do_not_change_it(tmp_path):
    path = write(tmp_path / "d.tif", hill())
    before = read(path).values.tobytes()
    (tmp_path / "d.tif.aux.xml").write_text(
        '<PAMDataset><GeoTransform>0,1,0,0,0,-1</GeoTransform><PAMRasterBand band="1"><NoDataValue>300</NoDataValue>'
        "</PAMRasterBand></PAMDataset>"
    )
    (tmp_path / "d.tif.msk").write_bytes(write(tmp_path / "m.tif", np.zeros((40, 50), "uint8")).read_bytes())
    after = read(path)
    assert after.values.tobytes() == before and after.affine == tuple(NORTH_UP)[:6]
    assert noted(after, "place and no-data value: not used") and noted(after, "holds a mask: not used")


def test_depths_are_not_heights(tmp_path):
    wkt = pyproj.crs.CompoundCRS("sea", [pyproj.CRS(32615), pyproj.CRS(5715)]).to_wkt()  # MSL depth, positive down
    path = write(tmp_path / "d.tif", hill(), crs=rasterio.crs.CRS.from_wkt(wkt))
    with pytest.raises(InputRefused, match="depths"):
        raster_header(path)


def test_no_warning_escapes(tmp_path):
    values = hill().astype("float64")
    values[0] = 1e300
    values[1] = np.nan
    with warnings.catch_warnings():
        warnings.simplefilter("error")
        heights(values, StoredHeights(nodata=-1e301))
        heights(np.full((3, 3), np.nan, "float32"), StoredHeights())
        heights(np.full((3, 3), 5.0, "float32"), StoredHeights(nodata=1e300))


def test_no_data_does_not_move_the_datum():
    """The datum is the middle of the heights alone, whatever else the band holds."""
    from tunnelsite.io.read.heights import StoredHeights, datum_sample, middle_datum

    stored = np.full((40, 50), 210.4, np.float32)
    stored[:30] = 1000.0  # declared as no data: a height that could be
    stored[30, :10] = np.nan
    stored[31, :10] = -9999.0
    assert middle_datum([datum_sample(stored, StoredHeights(nodata=1000.0), stored.shape)]) == 210.0
    assert middle_datum([datum_sample(stored, StoredHeights(), stored.shape)]) == 1000.0
    assert middle_datum([datum_sample(stored, StoredHeights(nodata=1000.0, unit_m=0.3048), stored.shape)]) == 64.0
