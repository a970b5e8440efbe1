"""Fields of settings: found in pydantic models and in frozen dataclasses alike, read, described as JSON Schema."""

from __future__ import annotations

from dataclasses import dataclass
from typing import Annotated, Literal

import jsonschema
import pytest

from tunnelsite.core.errors import UsageError
from tunnelsite.settings.field import fields_of, json_schema, read_settings
from tunnelsite.settings.fields import SECTIONS
from tunnelsite.settings.kinds import Angle, Choice, Flag, Length, Slope, Whole
from tunnelsite.settings.model import Settings, settings_from, settings_schema


@dataclass(frozen=True)
class Ditch:
    """Settings of a plan as a frozen dataclass."""

    depth_m: Annotated[float, Length("Depth", "Depth of the ditch.", "Water", 0.1, 3.0)] = 0.3048
    fall: Annotated[float, Slope("Fall", "Fall of its bottom.", "Water", most=0.1)] = 0.005
    shape: Annotated[Literal["round", "flat"], Choice("Shape", "Shape of its bottom.", "Water")] = "round"
    lined: Annotated[bool, Flag("Lined", "Lined with stone.", "Water")] = False
    towards_deg: Annotated[float | None, Angle("Towards", "Where it runs.", "Water", without="downhill")] = None
    reason: str = "a field without words is no setting"


def test_a_dataclass_says_what_its_fields_are() -> None:
    fields = {field.key: field for field in fields_of(Ditch)}
    assert list(fields) == ["depth", "fall", "shape", "lined", "towards"]
    assert fields["depth"].option == "--depth" and fields["depth"].words.unit == "m"
    assert [field.default_words for field in fields.values()] == ["1 ft", "0.5 %", "round", "no", "downhill"]
    assert fields["shape"].words.choices == ("round", "flat")


def test_a_dataclass_is_read_from_words_and_numbers() -> None:
    given = {"depth": "2ft", "fall": "1 %", "shape": "flat", "lined": "true", "towards": "NW"}
    assert read_settings(Ditch, given) == Ditch(0.6096, 0.01, "flat", True, 315.0)
    assert read_settings(Ditch, {"depth": 0.5, "towards": None}) == Ditch(depth_m=0.5)


@pytest.mark.parametrize(
    ("given", "words"),
    [
        ({"depth": "11ft"}, ("depth", "0.1 to 3 m")),
        ({"fall": "20 %"}, ("fall", "0 to 10 %")),
        ({"shape": "square"}, ("shape", "round or flat")),
        ({"lined": "perhaps"}, ("lined", "true or false")),
        ({"towards": "up"}, ("towards", "compass")),
        ({"dept": 1}, ("dept", "did you mean 'depth'?")),
    ],
)
def test_what_cannot_be_is_named(given: dict, words: tuple[str, ...]) -> None:
    with pytest.raises(UsageError) as error:
        read_settings(Ditch, given)
    assert all(word in str(error.value) for word in words)


def test_the_schema_takes_what_the_settings_take() -> None:
    schema = json_schema(Ditch)
    jsonschema.Draft202012Validator.check_schema(schema)
    validator = jsonschema.Draft202012Validator(schema)
    for given in ({"depth": "2ft", "lined": True}, {"depth": 0.5, "fall": 0.01, "towards": "NW"}):
        assert validator.is_valid(given)
    for given in ({"depth": 9}, {"fall": 1.0}, {"shape": "square"}, {"dept": 1}):
        assert not validator.is_valid(given)


def test_every_setting_of_a_screening_is_described() -> None:
    fields = fields_of(Settings)
    assert [field.name for field in fields] == list(Settings.model_fields)
    assert {field.words.section for field in fields} == set(SECTIONS)
    for field in fields:
        assert field.words.title and field.words.help.endswith("."), field.name
    assert len({field.words.title for field in fields}) == len(fields)


def test_the_schema_of_a_screening_holds_its_defaults() -> None:
    schema = settings_schema()
    jsonschema.Draft202012Validator.check_schema(schema)
    defaults = {key: part["default"] for key, part in schema["properties"].items() if "default" in part}
    assert jsonschema.Draft202012Validator(schema).is_valid(defaults)
    assert settings_from(defaults) == Settings()
    assert [part["order"] for part in schema["properties"].values()] == list(range(len(schema["properties"])))


def test_amounts_are_shown_in_the_unit_in_which_they_are_round() -> None:
    assert [Length("", "").shown(value) for value in (3.6576, 0.15, 30_000.0, 30.48, 1.23456)] == [
        "12 ft", "0.15 m", "30000 m", "100 ft", "1.23456 m",
    ]  # fmt: skip
    assert [Slope("", "").shown(value) for value in (1 / 192, 0.005, 0.0)] == ["1/192", "0.5 %", "0 %"]
    assert Angle("", "").shown(90.0) == "90 deg" and Whole("", "").shown(36) == "36"


def test_a_word_of_a_few_may_be_written_in_capitals_or_not() -> None:
    kind = Choice("Paper", "Paper.", choices=("A4", "Letter"))
    assert [kind.read(word, "paper") for word in ("letter", "LETTER", "a4", " Letter ")] == [
        "Letter",
        "Letter",
        "A4",
        "Letter",
    ]
    with pytest.raises(UsageError, match="A4 or Letter"):
        kind.read("A5", "paper")
