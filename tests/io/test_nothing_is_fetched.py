"""Files that name an address, and an environment that invites to fetch: nothing connects to where they point.

A listener on this machine stands for the network: Python's audit hooks would not see what GDAL and PROJ do in C.
"""

from __future__ import annotations

import os
import shutil
import socket
import sqlite3
import subprocess
import sys
import threading
from pathlib import Path

import pytest

from tests.whole_run.files import plain_farm

ROOT = Path(__file__).resolve().parents[2]
RING = "[[-78.5,42.4],[-78.5,42.5],[-78.4,42.5],[-78.5,42.4]]"
SQUARE = f'{{"type":"Feature","properties":{{}},"geometry":{{"type":"Polygon","coordinates":[{RING}]}}}}'
READ = """
import sys
from tunnelsite.core.errors import TunnelsiteError
from tunnelsite.io.read.rasters import raster_header, read_raster
from tunnelsite.io.read.vectors import read_features
for path in sys.argv[1:]:
    try:
        if ".tif" in path:
            read_raster(raster_header(path))
        else:
            read_features(path, "PARCELS", kinds=("polygon", "point"))
        print("read", path.rpartition("/")[2])
    except TunnelsiteError as problem:
        print("refused", path.rpartition("/")[2], problem)
"""


@pytest.fixture(scope="module")
def listener():
    """(address, requests seen) of a web server that knows nothing."""
    seen: list[bytes] = []
    server = socket.create_server(("127.0.0.1", 0))

    def serve() -> None:
        while True:
            try:
                connection, _ = server.accept()
            except OSError:
                return
            with connection:
                connection.settimeout(2)
                seen.append(b"?")
                seen[-1] = connection.recv(300).split(b"\r\n")[0]
                connection.sendall(b"HTTP/1.1 404 Not Found\r\nContent-Length: 0\r\nConnection: close\r\n\r\n")

    threading.Thread(target=serve, daemon=True).start()
    yield f"http://127.0.0.1:{server.getsockname()[1]}", seen
    server.close()


def inviting(address: str, folder: Path) -> dict[str, str]:
    """An environment that tells GDAL and PROJ to fetch."""
    return {
        **os.environ,
        "PYTHONPATH": str(ROOT),
        "PROJ_NETWORK": "ON",
        "PROJ_NETWORK_ENDPOINT": address,
        "PROJ_USER_WRITABLE_DIRECTORY": str(folder),
        "GML_DOWNLOAD_SCHEMA": "YES",
        "GML_SKIP_RESOLVE_ELEMS": "NONE",
        "LIBKML_RESOLVE_STYLE": "YES",
        "GDAL_VRT_ENABLE_PYTHON": "YES",
        "NO_PROXY": "*",
        "no_proxy": "*",
    }


def hostile(folder: Path, address: str) -> dict[str, str]:
    """Files by name that point to the listener, each in another way, and what has to be said of them."""
    linked = f'{{"type":"link","properties":{{"href":"{address}/crs.wkt","type":"ogcwkt"}}}}'
    escaped = linked.replace("http:", "\\u0068ttp:").replace("link", "l\\u0069nk")
    texts = {
        "link.geojson": (f'{{"type":"FeatureCollection","crs":{linked},"features":[{SQUARE}]}}', "refused"),
        "escaped.geojson": (
            f'{{"type":"FeatureCollection","\\u0063rs":{escaped},"features":[{SQUARE}]}}',
            "refused",
        ),
        "comment.geojson": (f'{{"type":"FeatureCollection","crs"/**/:{linked},"features":[{SQUARE}]}}', "refused"),
        "inner.geojson": (
            f'{{"type":"FeatureCollection","features":[{SQUARE[:-1]},"crs":{linked}}}]}}',
            "refused",
        ),
        "named.geojson": (
            f'{{"type":"FeatureCollection","crs":{{"type":"name","properties":{{"name":"{address}/x"}}}},"features":[{SQUARE}]}}',
            "",
        ),
        "schema.gml": (_gml(address), ""),
        "link.kml": (_kml(address), ""),
    }
    for name, (text, _) in texts.items():
        (folder / name).write_text(text)
    dem, parcels = plain_farm(folder)
    shutil.copy(parcels, folder / "virtual.gpkg")
    database = sqlite3.connect(folder / "virtual.gpkg")
    database.execute("pragma writable_schema=on")
    module = f"CREATE VIRTUAL TABLE v USING VirtualOGR('/vsicurl/{address}/v.geojson')"
    database.execute("insert into sqlite_master values ('table', 'v', 'v', 0, ?)", [module])
    database.execute("insert into gpkg_contents (table_name, data_type, identifier) values ('v', 'features', 'v')")
    database.commit()
    database.close()
    for ending in (".ovr", ".msk", ".aux.xml"):
        (folder / f"{dem.name}{ending}").write_text(_vrt(address))
    (folder / "vrt.tif").write_text(_vrt(address))
    words = {name: word for name, (_, word) in texts.items()}
    return words | {"virtual.gpkg": "read", "virtual.gpkg#v": "refused", "vrt.tif": "refused", "dem.tif": "read"}


def _vrt(address: str) -> str:
    return (
        '<VRTDataset rasterXSize="50" rasterYSize="40"><VRTRasterBand dataType="Float32" band="1"><SimpleSource>'
        f"<SourceFilename>/vsicurl/{address}/x.tif</SourceFilename></SimpleSource></VRTRasterBand></VRTDataset>"
    )


def _gml(address: str) -> str:
    ring = "-78.5,42.4 -78.5,42.5 -78.4,42.5 -78.5,42.4"
    return (
        '<?xml version="1.0"?><FeatureCollection xmlns="http://www.opengis.net/wfs" xmlns:gml="http://www.opengis.net/gml" '
        'xmlns:xlink="http://www.w3.org/1999/xlink" xmlns:xsi="http://www.w3.org/2001/XMLSchema-instance" '
        f'xsi:schemaLocation="http://x {address}/schema.xsd"><gml:featureMember><p gml:id="a"><gml:other xlink:href="{address}/o.gml#x"/>'
        f'<g><gml:Polygon srsName="{address}/crs"><gml:outerBoundaryIs><gml:LinearRing><gml:coordinates>{ring}</gml:coordinates>'
        "</gml:LinearRing></gml:outerBoundaryIs></gml:Polygon></g></p></gml:featureMember></FeatureCollection>"
    )


def _kml(address: str) -> str:
    ring = "-78.5,42.4 -78.5,42.5 -78.4,42.5 -78.5,42.4"
    return (
        '<?xml version="1.0"?><kml xmlns="http://www.opengis.net/kml/2.2"><Document>'
        f"<NetworkLink><Link><href>{address}/l.kml</href></Link></NetworkLink><Placemark><styleUrl>{address}/s.kml#x</styleUrl>"
        f"<Polygon><outerBoundaryIs><LinearRing><coordinates>{ring}</coordinates></LinearRing></outerBoundaryIs></Polygon>"
        "</Placemark></Document></kml>"
    )


def test_no_reference_out_of_a_file_is_followed(tmp_path: Path, listener) -> None:
    address, seen = listener
    words = hostile(tmp_path, address)
    done = subprocess.run(
        [sys.executable, "-c", READ, *(str(tmp_path / name) for name in words)],
        capture_output=True, text=True, env=inviting(address, tmp_path), cwd=ROOT, timeout=120, check=False,
    )  # fmt: skip
    assert done.returncode == 0, done.stderr
    told = {line.split()[1]: line for line in done.stdout.splitlines()}
    assert set(told) == set(words)
    for name, word in words.items():
        assert told[name].startswith(word), told[name]
    for name in ("link.geojson", "escaped.geojson", "inner.geojson"):
        assert "by an address" in told[name] and "nothing is fetched" in told[name]
    assert not seen, seen


def test_the_listener_notices(tmp_path: Path, listener) -> None:
    """The same file, opened without the project's care, does call the listener: the test above can fail."""
    address, seen = listener
    hostile(tmp_path, address)
    code = "import pyogrio, sys; pyogrio.raw.read(sys.argv[1])"
    command = [sys.executable, "-c", code, str(tmp_path / "link.geojson")]
    subprocess.run(command, capture_output=True, env=inviting(address, tmp_path), cwd=ROOT, timeout=60, check=False)
    found = list(seen)
    seen.clear()
    assert any(b"crs.wkt" in request for request in found)


def test_no_shift_grid_is_fetched(tmp_path: Path, listener) -> None:
    """NAD27 to NAD83 goes by a grid that PROJ would fetch where PROJ_NETWORK says ON."""
    address, seen = listener
    plain_farm(tmp_path)
    command = [sys.executable, "-m", "tunnelsite", "check", "dem.tif", "parcels.gpkg", "--dem-crs", "EPSG:26717", "-q"]
    environment = inviting(address, tmp_path)
    done = subprocess.run(
        command, capture_output=True, text=True, env=environment, cwd=tmp_path, timeout=120, check=False
    )
    assert "Traceback" not in done.stderr and done.returncode in (0, 3)
    assert not seen, seen


@pytest.mark.parametrize("text", ["http://x/d.tif", "/vsicurl/http://x/d.tif", "PG:dbname=x", "WFS:http://x", "s3://b/d.tif", "MYSQL:x,user=y",
                                  "/vsizip/a.zip/d.tif", "/vsistdin/", "GPKG:/x.gpkg", "<VRTDataset/>", "ODBC:x"])  # fmt: skip
@pytest.mark.parametrize("option", ["DEM", "PARCELS", "--surface", "--obstacles", "--soils", "--weather", "--wind"])
def test_what_is_no_path_is_refused_as_such(tmp_path: Path, monkeypatch, capsys, text: str, option: str) -> None:
    from tunnelsite.hosts.cli.main import main

    monkeypatch.chdir(tmp_path)
    plain_farm(tmp_path)
    dem, parcels = (
        text if option == name else file for name, file in (("DEM", "dem.tif"), ("PARCELS", "parcels.gpkg"))
    )
    words = ["check", dem, parcels, *([option, text] if option.startswith("--") else [])]
    status, said = main(words), capsys.readouterr().err
    assert status in (2, 3) and "Expected: " in said and "Traceback" not in said
    assert option.strip("-").lower() in said.lower()
