"""The report page as text: nothing is fetched, names stay names, and what a reader needs is in it."""

from __future__ import annotations

import base64
import hashlib
import json
import re
import xml.etree.ElementTree as ElementTree
from html.parser import HTMLParser
from itertools import pairwise
from urllib.parse import unquote

import numpy as np
import pytest

from tests.report.conftest import HOSTILE, LONG, TURNED
from tunnelsite.core.cautions import CAUTIONS
from tunnelsite.drawing.markup import document, json_text, named, picture, plain_name, put, tag
from tunnelsite.report.page_weights import page_data

VOID = {"meta", "img", "input", "br", "link", "hr"}


class Reader(HTMLParser):
    """Every element with its attributes, in order, and the text of each kind of element (html.parser of Python)."""

    def __init__(self, page: str) -> None:
        super().__init__(convert_charrefs=True)
        self.elements: list[tuple[str, dict[str, str]]] = []
        self.texts: list[tuple[str, str]] = []
        self.open: list[str] = []
        self.feed(page)
        self.close()

    def handle_starttag(self, tag: str, attrs) -> None:
        self.elements.append((tag, dict(attrs)))
        if tag not in VOID:
            self.open.append(tag)

    def handle_endtag(self, tag: str) -> None:
        assert self.open.pop() == tag

    def handle_data(self, data: str) -> None:
        self.texts.append((self.open[-1] if self.open else "", data))

    def all(self, tag: str) -> list[dict[str, str]]:
        return [attributes for name, attributes in self.elements if name == tag]


@pytest.fixture(scope="module", params=["full", "client"])
def page(request, hostile) -> str:
    return getattr(hostile, request.param)


def test_no_address_leads_out_of_the_page(page) -> None:
    for _, attributes in Reader(page).elements:
        for name in ("href", "src", "action", "data", "poster", "srcset", "xlink:href", "formaction"):
            address = attributes.get(name, "#")
            assert address.startswith(("#", "data:image/png;base64,", "data:image/svg+xml,")), address[:80]
    assert "@import" not in page and not re.search(r"url\((?!#)", re.sub(r"url%28|url\(%23", "", page))


def test_the_policy_names_the_one_style_and_the_one_script_by_their_hash(page) -> None:
    """Content-Security-Policy level 3 (W3C), hash sources: base64 of SHA-256 of the element's text."""
    found = Reader(page)
    policy = next(a["content"] for a in found.all("meta") if a.get("http-equiv") == "Content-Security-Policy")
    assert "default-src 'none'" in policy and "unsafe" not in policy and "http" not in policy.replace("http-equiv", "")
    for kind in ("style", "script"):
        text = [words for where, words in found.texts if where == kind and not words.startswith("{")]
        digest = base64.b64encode(hashlib.sha256("".join(text).encode()).digest()).decode()
        assert f"{kind}-src 'sha256-{digest}'" in policy
    assert len(found.all("style")) == 1
    kinds = [attributes.get("type", "script") for attributes in found.all("script")]
    assert sorted(kinds) == ["application/json", "script"]
    for _, attributes in found.elements:  # what such a policy would refuse
        assert "style" not in attributes and not [name for name in attributes if name.startswith("on")]


def test_hostile_names_are_text(page) -> None:
    found = Reader(page)
    assert not [a for a in found.all("img") if not a["src"].startswith("data:image/svg+xml,")]
    named_texts = [words for where, words in found.texts if where == "bdi"]
    assert any(HOSTILE in words for words in named_texts)
    if "What the run was made of" in page:  # the client's page holds fewer options
        assert any("safe\ufffdgnp.exe\ufffd end" in words for words in named_texts), (
            "what would turn a name round is shown for what it is"
        )
        assert "L" * 100 in page
    assert TURNED not in page and "\u202e" not in page and LONG not in page
    for attributes in found.all("img"):
        svg = ElementTree.fromstring(unquote(attributes["src"].partition(",")[2]))
        for element in svg.iter():
            assert element.tag.partition("}")[2] not in ("script", "foreignObject", "image", "a", "style")


def test_json_cannot_end_its_element() -> None:
    text = json_text({"name": "</script><!--<script>&\u2028", "value": 0.1})
    assert not set("<>&\u2028") & set(text)
    assert json.loads(text) == {"name": "</script><!--<script>&\u2028", "value": 0.1}
    with pytest.raises(ValueError):
        json_text({"value": float("nan")})


def test_markup_escapes_and_isolates() -> None:
    root = tag("p", "a < b & c", named("<b>\x00\u202e"), title='"><script>')
    put(root, " end", None, "", ["!", tag("i", "x")])
    wanted = '<p title="&quot;><script&gt;">a &lt; b &amp; c<bdi>&lt;b&gt;\ufffd\ufffd</bdi> end!<i>x</i></p>'  # inside quotes only & and the quote itself have to be escaped (HTML, 13.1.2.3)
    assert document(root).replace("&gt;<script", "><script") == f"<!doctype html>\n{wanted}\n"
    assert plain_name("") == "(no name)" and len(plain_name("x" * 999)) == 160 and plain_name("a\n\tb") == "a b"
    shown = picture('<?xml version="1.0"?>\n<svg viewBox="0 0 10 20"><text>#% "</text></svg>\n', "what")
    assert (
        shown.get("src") == "data:image/svg+xml,%3Csvg viewBox='0 0 10 20'%3E%3Ctext%3E%23%25 %22%3C/text%3E%3C/svg%3E"
    )
    assert (shown.get("width"), shown.get("height"), shown.get("alt")) == ("10", "20", "what")


def test_a_reader_of_any_kind_finds_the_way(page) -> None:
    """Landmarks, one first heading, no level skipped (WCAG 2.1, 1.3.1 and 2.4.6), names for pictures and fields."""
    found = Reader(page)
    names = [name for name, _ in found.elements]
    assert names.count("main") == names.count("header") == names.count("footer") == names.count("h1") == 1
    levels = [int(name[1]) for name in names if re.fullmatch("h[1-6]", name)]
    assert all(after - before <= 1 for before, after in pairwise(levels))
    assert found.all("html")[0]["lang"] == "en"
    assert all(attributes.get("alt") for attributes in found.all("img"))
    ids = [attributes["id"] for _, attributes in found.elements if "id" in attributes]
    assert len(ids) == len(set(ids))
    labelled = {attributes.get("for") for attributes in found.all("label")}
    for attributes in found.all("input"):
        assert attributes["type"] == "checkbox" or attributes["id"] in labelled
    for name, attributes in found.elements:
        for target in attributes.get("aria-labelledby", "").split():
            assert target in ids, (name, target)
        if attributes.get("href", "").startswith("#"):
            assert attributes["href"][1:] in ids


def test_what_is_said(hostile) -> None:
    full, client = (" ".join(words for _, words in Reader(page).texts) for page in (hostile.full, hostile.client))
    assert all(text in full for text in CAUTIONS) and all(text in client for text in CAUTIONS[:6])
    for text in (full, client):
        assert "one-call service" in text and "Local codes rule" in text and "not a survey" in text
        assert "Only the options listed here" in text or text is client
    assert "What the run was made of" in full and "What the run was made of" not in client
    row = hostile.result.rows[0]
    assert f"{row['pitch_se_pct']:.2f} %" in full and f"{row['score']:.1f} points" in full
    assert hostile.result.site.dem.sha256 in full
    assert len(hostile.client) < len(hostile.full) < 5_000_000


def test_every_reason_is_on_the_map_and_in_its_key(hostile) -> None:
    found = Reader(hostile.full)
    boxes = {attributes["data-group"] for attributes in found.all("input") if "data-group" in attributes}
    areas = {attributes["data-group"] for attributes in found.all("g") if "data-group" in attributes}
    assert boxes == areas and {"edge", "keep"} <= boxes
    marks = [attributes for attributes in found.all("a") if attributes.get("class") == "mark"]
    assert [int(attributes["data-rank"]) for attributes in marks] == list(range(len(hostile.result.choices), 0, -1))
    assert all(attributes["aria-label"] for attributes in marks)


def test_data_of_the_page_are_the_marks_of_the_result(hostile) -> None:
    data, result = page_data(hostile.result), hostile.result
    for candidate, choice, row in zip(data["candidates"], result.choices, result.rows, strict=True):
        assert candidate["score"] == choice.score
        for criterion, mark, assessed in zip(data["criteria"], candidate["marks"], candidate["assessed"], strict=True):
            if criterion["weight"] > 0:
                wanted = row[f"score_{criterion['id']}"]
                assert mark == wanted if assessed else np.isnan(wanted)
    weighted = {judge.id for judge in result.judges if judge.rubric.weight > 0}
    assert weighted <= {criterion["id"] for criterion in data["criteria"]} | {
        judge.id
        for judge in result.judges
        if not np.isfinite([result.scans[c.scan].measures[judge.id][c.item] for c in result.choices]).any()
    }
