"""Settings mean the same wherever they stand: in Python, a project file, on the command line, in a kept run, in the run table that
the commands after a screening read."""

from __future__ import annotations

import functools
import json
import math
from pathlib import Path
from typing import Any

from hypothesis import given
from hypothesis import strategies as st

from tunnelsite.core.errors import UsageError
from tunnelsite.core.units import FOOT_M, MONTH_DAYS, number
from tunnelsite.hosts.cli.arguments import parsed
from tunnelsite.hosts.cli.options import parser
from tunnelsite.hosts.cli.project_values import project_values
from tunnelsite.io.read.sites_file import ScreenedCandidate
from tunnelsite.plans.candidate import kept_settings
from tunnelsite.screening.option import KEPT
from tunnelsite.screening.run_table import setting_rows
from tunnelsite.settings.model import Settings, settings_from
from tunnelsite.settings.paths import PATH_KEYS
from tunnelsite.settings.presets import presets
from tunnelsite.settings.project_file import COMMAND_LINE_ALONE, project_settings

command_line = functools.cache(parser)  # building it takes longer than reading with it


def _reads_as_number(text: str) -> bool:
    try:
        number(text, "value")
    except UsageError:
        return False
    return True


WORDS = st.text(st.characters(blacklist_categories=("Cs",), blacklist_characters="\0"), min_size=1, max_size=12).filter(
    str.strip
)
# A parameter's text: a command line has no quotes that tell "0" or "true" as words from the number and the truth value.
TEXTS = WORDS.filter(lambda text: not (text in ("true", "false") or _reads_as_number(text)))
NAMES = st.from_regex(r"[a-z][a-z0-9_]{0,12}", fullmatch=True)
# A file's name as somebody may choose it; the folder is added where a project file stands.
FILES = st.text(st.characters(whitelist_categories=("L", "N", "Zs"), whitelist_characters="._-#@=,;'\"%"), min_size=1, max_size=12).filter(
    lambda text: text.strip() and not text.startswith("-")
)  # fmt: skip


def real(least: float, most: float) -> st.SearchStrategy[float]:
    return st.floats(least, most, allow_nan=False, allow_infinity=False)


def length(least: float, most: float) -> st.SearchStrategy[float | str]:
    """A number of metres, or an amount in words."""
    metres = real(least, most)
    feet = real(least / FOOT_M * (1 + 1e-9), most / FOOT_M * (1 - 1e-9))
    return st.one_of(metres, metres.map(lambda value: f"{value!r} m"), feet.map(lambda value: f"{value!r}ft"))


def _day(month: int) -> st.SearchStrategy[str]:
    return st.integers(1, MONTH_DAYS[month - 1]).map(lambda day: f"{month:02d}-{day:02d}")


PERIOD = st.tuples(*[st.integers(1, 12).flatmap(_day)] * 2).map(":".join)
SIZE = st.tuples(real(1, 30), real(31, 300)).map(lambda sides: f"{sides[0]!r}x{sides[1]!r}m")
ENTRIES = st.dictionaries(st.sampled_from(["full_at", "none_at", "limit", "weight"]), real(-1e6, 1e6), min_size=1)
FIELDS: dict[str, st.SearchStrategy[Any]] = {
    **dict.fromkeys(PATH_KEYS, FILES),
    "overwrite": st.booleans(),
    "preset": st.lists(st.sampled_from(sorted(presets())), unique=True, max_size=2),
    "house": st.lists(st.one_of(SIZE, st.sampled_from(["30x96ft", "20'x48'"])), min_size=1, max_size=3),
    "kind": st.sampled_from(["in-ground", "container"]),
    "ridge": length(0.5, 30),
    "crop_months": PERIOD,
    "bearing": real(-360, 360),
    "bearing_tolerance": real(0, 90),
    "bearing_step": real(0.5, 90),
    "far_reach": length(100, 200_000),
    "clearance": length(0, 1000),
    "keep_out": st.lists(FILES, max_size=3),
    "setback": length(0, 1000),
    "service": st.dictionaries(NAMES, FILES, max_size=3),
    "layer": st.dictionaries(NAMES, FILES, max_size=3),
    "engine": st.sampled_from(["built-in", "richdem"]),
    "bare_trees": st.one_of(PERIOD, st.just("never")),
    "bare_transmission": real(0, 1),
    "wind_from": real(0, 360),
    "elevation_unit": st.sampled_from(["m", "ft", "us-ft", "dm", "cm"]),
    "far_elevation_unit": st.sampled_from(["m", "ft", "us-ft", "dm", "cm"]),
    "dem_crs": st.sampled_from(["EPSG:26917", "NAD83 / UTM zone 17N", 'LOCAL_CS["a/b",UNIT["metre",1]]', "+proj=utm +zone=17"]),
    "band": st.integers(1, 65_535),
    "around": st.builds("{:.5f},{:.5f}:{}m".format, st.floats(-85, 85), st.floats(-180, 180), st.integers(10, 25_000)),
    "whole": st.booleans(),
    "zero_is_nodata": st.booleans(),
    "cell": length(0.05, 1000),
    "halo": length(0, 50_000),
    "apron": length(0, 50),
    "pad_pitch": st.one_of(real(0, 0.99), real(0, 99).map(lambda value: f"{value!r} %"), st.just("3/4 in per 12 ft")),
    "shrink": real(1, 2),
    "azimuths": st.integers(8, 720),
    "light_height": length(0, 30),
    "standing_limit": length(0, 100),
    "keep_water_like": st.booleans(),
    "combine": st.sampled_from(["mean", "geometric", "lowest"]),
    "top": st.integers(1, 10_000),
    "shift": length(0, 100),
    "apart": length(0, 100_000),
    "per_parcel": st.integers(1, 10_000),
    "elevation_error": length(0, 50),
    "error_range": length(0, 10_000),
    "draws": st.integers(1, 100_000),
    "seed": st.integers(0, 2**63 - 1),
    "price": st.fixed_dictionaries(
        {}, optional={"earthwork": st.just("12/yd3"), "clearing": st.just("900.5/acre"), "water": st.just("4/ft")}
    ),
    "weight": st.dictionaries(NAMES, real(0, 999_999), max_size=3),
    "rubric": st.dictionaries(NAMES, ENTRIES, max_size=2),
    "parameter": st.dictionaries(NAMES, st.dictionaries(NAMES, st.one_of(real(-1e9, 1e9), TEXTS, st.booleans()), max_size=2), max_size=2),
}  # fmt: skip
GIVEN = st.fixed_dictionaries({}, optional=FIELDS)


def toml(value: Any) -> str:
    """A value in TOML 1.0; its basic strings are those of JSON, less the escapes for half characters."""
    if isinstance(value, bool):
        return str(value).lower()
    if isinstance(value, str):
        return json.dumps(value, ensure_ascii=False).replace("\x7f", "\\u007f")
    if isinstance(value, dict):
        return "{" + ", ".join(f"{toml(name)} = {toml(inner)}" for name, inner in value.items()) + "}"
    if isinstance(value, list):
        return "[" + ", ".join(map(toml, value)) + "]"
    return repr(value)


def _said(value: Any) -> Any:
    return str(value).lower() if isinstance(value, bool) else value


def words_of(values: dict[str, Any]) -> list[str]:
    """The command line of settings; `=` ties a value to its option, whatever it begins with."""
    found: list[str] = []
    for name, value in values.items():
        option = f"--{name.replace('_', '-')}"
        if name in ("dem", "parcels") or (isinstance(value, bool) and not value):
            continue
        if isinstance(value, bool):
            found.append(option)
        elif name in ("rubric", "parameter"):
            found += [
                f"{option}={key}.{part}={_said(one)}" for key, inner in value.items() for part, one in inner.items()
            ]
        elif isinstance(value, dict):
            found += [f"{option}={key}={inner}" for key, inner in value.items()]
        elif name == "preset":
            found += [f"{option}={','.join(value)}"] if value else []
        else:
            found += [f"{option}={one}" for one in (value if isinstance(value, list) else [value])]
    return [*found, *(values[name] for name in ("dem", "parcels"))]


def test_every_setting_has_a_strategy() -> None:
    assert {field.alias or name for name, field in Settings.model_fields.items()} == FIELDS.keys()


@given(GIVEN)
def test_a_project_file_says_what_was_said(tmp_path_factory, values: dict[str, Any]) -> None:
    folder = tmp_path_factory.mktemp("project", numbered=True)
    file = folder / "farm.toml"
    values = {name: value for name, value in values.items() if name not in COMMAND_LINE_ALONE}
    file.write_text("\n".join(f"{name} = {toml(value)}" for name, value in values.items()), "utf-8")
    read, lines = project_settings(file)
    assert settings_from(read) == settings_from(_anchored(values, folder))
    assert all(lines[name] == number for number, name in enumerate(values, 1))


def _anchored(values: dict[str, Any], folder: Path) -> dict[str, Any]:
    found = {name: str(folder / value) if name in PATH_KEYS else value for name, value in values.items()}
    for table in {"service", "layer"} & found.keys():
        found[table] = {name: str(folder / value) for name, value in found[table].items()}
    if "keep_out" in found:
        found["keep_out"] = [str(folder / value) for value in found["keep_out"]]
    return found


@given(GIVEN, FILES, FILES)
def test_the_command_line_says_the_same(values: dict[str, Any], dem: str, parcels: str) -> None:
    values = {
        name: {key: inner for key, inner in value.items() if inner} if name == "parameter" else value
        for name, value in values.items()
    } | {"dem": dem, "parcels": parcels}
    given = parsed(command_line(), ["screen", *words_of(values)])
    assert settings_from(project_values(given)) == settings_from(values)


@given(GIVEN)
def test_a_kept_run_says_the_same(values: dict[str, Any]) -> None:
    settings = settings_from(values)
    kept = json.loads(json.dumps(settings.model_dump(by_alias=True, mode="json", exclude_none=True)))
    assert Settings(**kept) == settings


@given(GIVEN)
def test_the_run_table_says_the_same(values: dict[str, Any]) -> None:
    """What the commands after a screening take from its run table is what the screening was asked for."""
    values = {name: value for name, value in values.items() if name not in ("dem", "parcels")}
    settings = settings_from(values)
    rows = tuple({**row, "detail": ""} for row in setting_rows(settings))
    screened = ScreenedCandidate({"house": settings.houses[0].name}, {}, rows, "s.gpkg")
    again, notes = kept_settings(screened, {})
    found = settings_from(again)
    fields = {field.alias or name: name for name, field in Settings.model_fields.items()}
    for name in KEPT:
        assert getattr(found, fields[name]) == getattr(settings, fields[name]), name
    assert notes == []
    house = found.houses[0]
    assert math.isclose(house.width_m, settings.houses[0].width_m, rel_tol=1e-12)


@given(st.floats(-360, 360))
def test_the_bearing_of_a_grid_is_found_again(bearing: float) -> None:
    from tunnelsite.core.grid import Grid
    from tunnelsite.screening.option import nominal_bearing
    from tunnelsite.screening.run_table import _bearing_words

    grid = Grid("EPSG:32617", 1.0, 10, 10, 0.0, 0.0, bearing)
    rows = ({"kind": "grid", "name": _bearing_words(grid), "value": "", "detail": ""},)
    found = nominal_bearing(ScreenedCandidate({"bearing_deg": bearing}, {}, rows, "s.gpkg"))
    assert abs(found - bearing) < 1e-8
