"""Names from data on a terminal: none of them steers it or makes up a row, whatever command shows it."""

from __future__ import annotations

import ast
import json
from pathlib import Path

import pytest
import shapely

from tests.hosts.screened import HOUSE
from tests.whole_run.files import NORTH, UTM17, WEST, gentle, plain_farm, write_parcels
from tunnelsite.hosts.cli.main import main

PACKAGE = Path(__file__).resolve().parents[3] / "tunnelsite"
HOSTILE = "\x1b[31mlot\nFORGED 1  99.9\r\u202e"
QUICK = ("--house", HOUSE, "--azimuths", "8", "--halo", "5m", "--top", "2")


@pytest.fixture(scope="module")
def farm(tmp_path_factory) -> Path:
    plain, folder = tmp_path_factory.mktemp("plain"), tmp_path_factory.mktemp("farm") / "f\x1b[32m\nFORGED"
    plain_farm(plain, gentle(60, 70))
    lot = shapely.box(WEST + 4, NORTH - 56, WEST + 64, NORTH - 4)
    write_parcels(plain / "lots.gpkg", [lot], UTM17, parcel=[HOSTILE])
    write_parcels(plain / "tap.gpkg", [shapely.Point(WEST + 6.5, NORTH - 6.5)], UTM17, what=[HOSTILE])
    (plain / "lots.gpkg").rename(plain / "lots\nFORGED\x1b.gpkg")
    (plain / "tap.gpkg").rename(plain / "tap\nFORGED.gpkg")
    plain.rename(folder)
    return folder


def words(farm: Path, name: str) -> list[str]:
    site = [
        str(farm / "dem.tif"),
        str(farm / "lots\nFORGED\x1b.gpkg"),
        *QUICK,
        "--service",
        "water=" + str(farm / "tap\nFORGED.gpkg"),
    ]
    sites, kept = str(farm / "s\x1b\nFORGED.gpkg"), str(farm / "k\nFORGED.npz")
    return {
        "check": ["check", *site],
        "screen": ["screen", *site, "--out", sites, "--keep", kept, "--overwrite", "-v"],
        "rescore": ["rescore", kept, "--weight", "sun=2", "--out", str(farm / "r\nFORGED.gpkg"), "--overwrite"],
        "explain": ["explain", *site, "--rank", "1"],
        "compare": ["compare", sites, str(farm / "r\nFORGED.gpkg")],
        "ranks": ["compare", sites, "--ranks", "1,2"],
        "robustness": ["robustness", kept, "--draws", "2"],
        "export": ["export", sites, "--to", str(farm), "--as", "csv", "--overwrite"],
        "stakeout": [
            "stakeout",
            *site[:2],
            "--sites",
            sites,
            "--rank",
            "1",
            "--out",
            str(farm / "x\nFORGED.csv"),
            "--overwrite",
        ],
        "missing": ["screen", str(farm / "none\nFORGED.tif"), site[1]],
    }[name]


ORDER = ("check", "screen", "rescore", "explain", "compare", "ranks", "robustness", "export", "stakeout", "missing")


def test_no_name_steers_the_terminal_or_makes_up_a_row(farm, capsys) -> None:
    for name in ORDER:
        capsys.readouterr()
        status = main(words(farm, name))
        said = capsys.readouterr()
        assert status == (3 if name == "missing" else 0), said.err
        for line in [*said.out.split("\n"), *said.err.split("\n")]:
            assert line.isprintable(), (name, line)
            assert not line.lstrip().startswith("FORGED"), (name, line)
        assert said.out or name == "missing"


def test_json_stays_json_with_the_names_as_they_are(farm, capsys) -> None:
    assert main([*words(farm, "screen"), "--json"]) == 0
    said = capsys.readouterr().out
    assert said.isascii() and json.loads(said)["candidates"][0]["parcel"] == HOSTILE.strip()


def test_everything_is_said_in_one_place() -> None:
    """`print` and the streams themselves are used in hosts/cli/streams.py alone; the last word of an interrupted run excepted."""
    ways = []
    for module in sorted(PACKAGE.rglob("*.py")):
        for node in ast.walk(ast.parse(module.read_text("utf-8"))):
            if isinstance(node, ast.Call):
                name = ast.unparse(node.func)
                if name in ("print", "sys.stdout.write", "sys.stderr.write") or (name == "json.dump"):
                    ways.append(str(module.relative_to(PACKAGE)))
    assert set(ways) == {"hosts/cli/streams.py"}
