"""The whole job on the desk's page, as someone does it: each scene goes on where the one before it ended."""

from __future__ import annotations

import shutil
import tomllib
from collections.abc import Iterator
from pathlib import Path

import geopandas
import pytest

from tests.desk.served import WAIT_MS, Served, Shown, shown
from tests.io.fetch.servers import Site, serving
from tests.report.browser import browser
from tunnelsite.desk.project import named_files
from tunnelsite.io.read.sample_data import sample_data

POND = (-78.14363, 43.00667)  # sample_data/README.md
HOLLOW = (-78.15125, 43.01019)  # 1.8 m deep, closed
BESIDE_THE_BENCH = (-78.1490, 43.0071)
DESKTOP = {"width": 1280, "height": 800}


@pytest.fixture(scope="module")
def chromium() -> Iterator:
    """The browser of all scenes."""
    with browser() as started:
        yield started


@pytest.fixture(scope="module")
def served(chromium, tmp_path_factory: pytest.TempPathFactory) -> Iterator[Served]:
    """A desk on an empty folder."""
    desk = Served(tmp_path_factory.mktemp("desk") / "farm")
    desk.folder.mkdir()
    desk.start()
    yield desk
    desk.kill()


@pytest.fixture(scope="module")
def desk(served: Served, chromium) -> Shown:
    """Its page at the size of a small laptop."""
    return shown(chromium, served.address, viewport=DESKTOP)


def _found(desk: Shown) -> None:
    """Wait until an exact answer stands."""
    desk.page.wait_for_selector("#option-1", state="attached", timeout=WAIT_MS)
    desk.page.wait_for_selector("#cancel", state="detached", timeout=WAIT_MS)


def _open(desk: Shown, heading: str) -> None:
    button = desk.page.locator(f"#head-{heading}")
    if button.get_attribute("aria-expanded") != "true":
        button.click()


def _at_rest(desk: Shown, what: str) -> dict[str, float]:
    """Where something lies on the screen once the map glides no more."""
    found = [{}, desk.page.locator(what).bounding_box()]

    def rests() -> bool:
        desk.page.wait_for_timeout(300)
        found[:] = [found[1], desk.page.locator(what).bounding_box()]
        return found[0] == found[1]

    desk.until(rests)
    return found[1]


def _drawn(desk: Shown) -> list[dict]:
    return desk.asked("/api/drawn")["features"]


def test_sample_farm_stands_after_one_click(desk: Shown, served: Served) -> None:
    desk.page.click("#begin-sample")
    desk.page.wait_for_selector(".leaflet-ground-pane img", timeout=WAIT_MS)
    desk.page.wait_for_selector(".map-label.height", state="attached")
    assert desk.page.locator(".north").is_visible()
    scale = desk.page.locator(".leaflet-control-scale-line").all_text_contents()
    assert {text.split()[-1] for text in scale} == {"m", "ft"}
    # fewer directions, draws and cells: the runs below are about the page
    desk.page.evaluate(
        "set => fetch('/api/settings', {method: 'PATCH', headers: {'X-Desk': '1', 'Content-Type': 'application/json'}, body: set})",
        '{"set": {"azimuths": 16, "draws": 20, "cell": "2m"}}',
    )
    desk.until(lambda: desk.asked("/api/state")["model"]["state"] == "ready")  # the ground is read again


def test_tree_is_on_disk_when_it_is_drawn(desk: Shown, served: Served) -> None:
    desk.page.click("#draw")
    desk.page.click(".pane button:text-is('Tree')")
    desk.page.mouse.click(*desk.at(*BESIDE_THE_BENCH))
    desk.page.wait_for_selector("#delete-drawn")
    desk.page.fill(".map-card input[name=height_m]", "50")
    desk.page.keyboard.press("Tab")
    desk.until(lambda: _drawn(desk)[0]["properties"]["height_m"] > 15)
    (tree,) = _drawn(desk)
    assert tree["properties"]["what"] == "tree"
    assert tree["properties"]["height_m"] == pytest.approx(50 * 0.3048)
    assert tree["geometry"]["coordinates"] == pytest.approx(BESIDE_THE_BENCH, abs=2e-5)
    layers = geopandas.list_layers(served.folder / "drawn.gpkg")["name"]
    kept = [len(geopandas.read_file(served.folder / "drawn.gpkg", layer=layer)) for layer in layers]
    assert sum(kept) == 1


def test_keep_out_is_drawn_by_keys_undone_and_done_again(desk: Shown) -> None:
    page = desk.page
    page.click("#draw")
    page.click(".pane button:text-is('Keep-out')")
    page.wait_for_selector(".crosshair", state="attached")
    page.keyboard.press("Enter")
    page.keyboard.press("f")
    page.wait_for_selector("#map-card >> text=needs three corners")  # it was refused without a word
    page.keyboard.press("Backspace")
    for key in ("ArrowRight", "ArrowDown", "ArrowLeft", None):
        page.keyboard.press("Enter")
        if key:
            page.keyboard.press(key)
            page.wait_for_timeout(350)  # the map glides
    page.keyboard.press("f")
    page.wait_for_selector("#delete-drawn")
    keep_out, tree = sorted(_drawn(desk), key=lambda one: one["properties"]["what"])
    assert (keep_out["properties"]["what"], tree["properties"]["what"]) == ("keep_out", "tree")
    assert len(keep_out["geometry"]["coordinates"][0]) == 5
    page.click("#undo")
    page.wait_for_selector("#redo:enabled")
    assert [one["properties"]["what"] for one in _drawn(desk)] == ["tree"]
    page.click("#redo")
    page.wait_for_selector("#redo:disabled")
    assert len(_drawn(desk)) == 2


def test_corners_of_a_closed_drawing_are_kept(desk: Shown) -> None:
    """Close dropped them, silently."""
    page = desk.page
    before = len(_drawn(desk))
    page.click("#draw")
    page.click(".pane button:text-is('Keep-out')")
    west, north = BESIDE_THE_BENCH[0] + 2e-3, BESIDE_THE_BENCH[1] - 1e-3
    for east, south in ((0, 0), (8e-4, 0), (8e-4, 8e-4)):
        page.mouse.click(*desk.at(west + east, north - south))
        page.wait_for_timeout(100)
    assert desk.violations() == []  # each handle was a button without a name, and a stop of the Tab key
    page.click("#map-card button:text-is('Close')")
    page.wait_for_selector("#aside >> text=3 corners are kept")
    page.reload()
    page.wait_for_selector(".leaflet-ground-pane img")
    page.wait_for_selector("#aside >> text=3 corners are kept")
    page.click("#go-on")
    page.mouse.click(*desk.at(west, north - 8e-4))
    page.click("#finish")
    page.wait_for_selector("#delete-drawn")
    assert len(_drawn(desk)) == before + 1
    assert len(_drawn(desk)[-1]["geometry"]["coordinates"][0]) == 5
    assert page.locator("#aside").is_hidden()
    page.click("#delete-drawn")
    desk.until(lambda: len(_drawn(desk)) == before)


def test_data_are_fetched_on_request_and_their_size_is_said_first(desk: Shown, served: Served) -> None:
    page = desk.page
    model = (sample_data() / "dem.tif").read_bytes()
    tank = {"type": "Feature", "properties": {}, "geometry": {"type": "Point", "coordinates": BESIDE_THE_BENCH}}
    with serving(Site({"/ground.tif": model})) as site:
        site.put("/collections/tanks/items", {"type": "FeatureCollection", "features": [tank], "links": []})
        _open(desk, "ground")
        listed = f'[relief]\nkind = "raster"\naddress = "{site.address}/ground.tif"\n'.encode()
        file = {"name": "sources.toml", "mimeType": "application/toml", "buffer": listed}
        page.set_input_files("#part-ground input[type=file]", [file])
        page.check("#gather-where-fields")
        page.select_option("#gather-ground", "relief")
        page.click("#gather-more")
        page.select_option("#gather-role-0", "service:fuel")
        page.select_option("#gather-from-0", "address")
        page.fill("#gather-address-0", f"{site.address}/collections/tanks")
        page.keyboard.press("Tab")
        assert site.asked == []
        page.click("#gather-size")
        assert "MB" in page.inner_text("#gather-fetch", timeout=WAIT_MS)
        assert not (served.folder / "ground.tif").exists()
        page.click("#gather-fetch")
        page.wait_for_selector(".gather >> text=Fetched:", timeout=WAIT_MS)
        files = {one["name"]: one["used_as"] for one in desk.asked("/api/state")["files"]}
        assert (files["dem.tif"], files["ground.tif"], files["fuel.geojson"]) == ("dem", None, "service:fuel")
        _address(desk, "#gather-ground", "http://127.0.0.1:9/ground.tif")
        page.click("#gather-size")
        page.wait_for_selector(".gather .broken >> text=did not answer", timeout=WAIT_MS)
    assert desk.violations() == []
    page.click("summary:has-text('Get data from a source')")


def _address(desk: Shown, field: str, address: str) -> None:
    desk.page.select_option(field, "address")
    desk.page.fill(f"{field}-address", address)
    desk.page.keyboard.press("Tab")


def test_run_is_cancelled_and_run_again(desk: Shown, served: Served) -> None:
    _open(desk, "find")
    desk.page.click("#find-places")
    desk.page.click("#cancel-run")
    desk.page.wait_for_selector("text=Cancelled")
    assert not list(served.folder.glob("runs/*/sites.gpkg"))
    desk.page.click("#find-places")
    _found(desk)
    assert desk.page.locator(".map-label.rank").count() > 0
    desk.until(lambda: "of 100" in desk.page.locator("#strip").inner_text())


def test_first_option_stands_at_the_high_end_of_the_scores(desk: Shown) -> None:
    _open(desk, "choose")
    desk.page.click("#option-1")
    desk.page.wait_for_selector("#strip .score-ramp")
    ramp, mark = (desk.page.locator(f"#strip .score-ramp {part}").bounding_box() for part in (".ramp", ".at"))
    assert mark["x"] > ramp["x"] + 0.9 * ramp["width"]


def test_house_is_tried_in_other_months(desk: Shown) -> None:
    page = desk.page
    page.click("#sun-chart")
    page.wait_for_selector(".sun-chart")
    assert page.locator(".sun-chart").bounding_box()["width"] >= 720  # of 1120 drawn: its words can be read
    page.click("#map-card summary")
    page.click("#hand-months-6")
    page.click("#hand-months-9")
    page.wait_for_selector("#strip >> text=Crops 1 Jun to 30 Sep, tried here alone")
    assert "months=06-01" in page.get_attribute(".sun-chart", "src")
    page.click("#map-card button:text-is('Close')")
    page.wait_for_selector("#strip >> text=tried here alone", state="detached")


def test_house_moves_by_keys_and_the_numbers_follow(desk: Shown) -> None:
    _open(desk, "choose")
    desk.page.click("#option-1")
    before = desk.page.locator("#strip").inner_text()
    desk.page.focus("#house-in-hand")
    for _ in range(4):
        desk.page.keyboard.press("Shift+ArrowRight")
    desk.until(lambda: desk.page.locator("#strip").inner_text() != before)
    desk.page.keyboard.press("]")
    desk.page.wait_for_selector("#strip >> text=91°")


def test_house_on_the_pond_breaks_rules_in_words(desk: Shown) -> None:
    page = desk.page
    page.click("#whole-farm")
    box = _at_rest(desk, "#house-in-hand")
    page.mouse.move(box["x"] + box["width"] / 2, box["y"] + box["height"] / 2)
    page.mouse.down()
    page.mouse.move(*desk.at(*POND), steps=12)
    page.mouse.up()
    page.wait_for_selector("#strip .verdict.bad")
    page.wait_for_selector("#strip .rules li.broken:has-text('water')")
    assert desk.page.locator("#house-in-hand").get_attribute("fill") == "url(#hatch-broken)"


def test_tap_says_why_not_here(desk: Shown) -> None:
    desk.page.mouse.click(*desk.at(*HOLLOW))
    desk.page.wait_for_selector("#map-card h2:has-text('Why not here?')")
    assert "water" in desk.page.locator("#map-card").inner_text().lower()
    desk.page.click("#map-card button:text-is('Close')")


@pytest.mark.parametrize("heading", ["ground", "surroundings", "house", "find", "choose", "hand_over"])
def test_nothing_stands_in_the_way_of_a_screen_reader(desk: Shown, heading: str) -> None:
    _open(desk, heading)
    assert desk.violations() == []


def test_two_pins_and_their_packet(desk: Shown, served: Served) -> None:
    page = desk.page
    _open(desk, "choose")
    for rank, name in ((1, "On the bench"), (2, "By the lane")):
        page.click(f"button[aria-label='Pin option {rank}']")
        page.fill("#pin-name", name)
        page.click("#pin-keep")
        page.wait_for_selector("#dialog", state="hidden")
    page.click("#side-by-side")
    page.wait_for_selector(".differences td")
    sides = page.eval_on_selector_all(".differences td", "cells => cells.map(cell => getComputedStyle(cell).textAlign)")
    assert set(sides) == {"right"}  # the last column stood at the left of its own
    box = "box => box.scrollWidth <= box.clientWidth"
    assert page.eval_on_selector("#dialog .table-box", box)
    page.click("#dialog button:text-is('Close')")
    _open(desk, "hand_over")
    page.click("#write-packet")
    page.wait_for_selector(".open-packet", timeout=WAIT_MS)
    packet, phone = (page.locator(what).first.bounding_box() for what in (".open-packet", ".show-on-phone"))
    assert packet["y"] < phone["y"]  # what was asked for stands right below the button
    with page.expect_popup() as opened:
        page.click(".open-packet")
    opened.value.wait_for_load_state()
    assert "On the bench" in opened.value.content()
    opened.value.close()
    assert list(served.folder.glob("packet/*/*.gpkg"))
    (farm,) = served.folder.glob("packet/*/project/farm.toml")
    named = named_files(tomllib.loads(farm.read_text("utf-8")))
    assert {"dem.tif", "drawn.gpkg"} < set(named) and all((farm.parent / name).is_file() for name in named)


def test_another_size_is_in_the_hand_at_once_and_never_with_the_old_numbers(desk: Shown) -> None:
    """The strip showed the numbers of the house before for two seconds."""
    page = desk.page
    _open(desk, "choose")
    page.click("#option-1")
    page.wait_for_selector("#strip:not(.other) >> text=30 × 96 ft")
    shown_first = page.evaluate(
        """() => new Promise((tell) => {
          const strip = document.getElementById('strip'), looks = [];
          new MutationObserver(() => {
            const score = strip.querySelector('.score');
            const size = strip.querySelector('h2')?.textContent;
            if (size !== '20 × 48 ft' || !score) return;
            looks.push([getComputedStyle(score).visibility, strip.querySelector('.ground-part').innerText]);
            if (looks.at(-1)[0] === 'visible') tell(looks);
          }).observe(strip, {childList: true, subtree: true});
          document.getElementById('part-choose').dataset.old = strip.querySelector('.ground-part').innerText;
          fetch('/api/settings', {method: 'PATCH', headers: {'X-Desk': '1', 'Content-Type': 'application/json'},
            body: '{"set": {"house": ["20x48ft"]}}'});
        })"""
    )
    old = page.get_attribute("#part-choose", "data-old")
    assert [text for look, text in shown_first if look == "visible" and text == old] == []
    page.evaluate(
        "set => fetch('/api/settings', {method: 'PATCH', headers: {'X-Desk': '1', 'Content-Type': 'application/json'}, body: set})",
        '{"set": {"house": ["30x96ft"]}}',
    )
    page.wait_for_selector("#strip:not(.other) >> text=30 × 96 ft")


def test_everything_is_there_after_the_server_was_killed(desk: Shown, served: Served) -> None:
    _open(desk, "find")
    desk.page.click("#find-places")
    desk.page.wait_for_selector("#cancel-run")
    served.kill()
    desk.page.wait_for_selector("#notice:not([hidden]) >> text=does not answer")
    served.start()
    desk.page.goto(served.address)
    _found(desk)
    desk.page.focus("#house-in-hand")
    desk.page.wait_for_selector(
        "#strip .score:text-matches('[0-9]')", timeout=WAIT_MS
    )  # of the kept answer, while it is measured again
    desk.page.keyboard.press("ArrowRight")
    desk.page.keyboard.press("ArrowLeft")
    assert "no map yet" not in desk.page.inner_text("#strip")
    assert len(_drawn(desk)) == 2
    assert [pin["name"] for pin in desk.asked("/api/state")["pins"]] == ["On the bench", "By the lane"]
    desk.page.click("#run button:has-text('Run failed')")
    desk.page.wait_for_selector("#part-find .broken >> text=ended in the middle")
    assert len(list(served.folder.glob("runs/*/sites.gpkg"))) == 1


def test_phone_shows_map_and_answer(served: Served, chromium) -> None:
    phone = shown(chromium, served.address, viewport={"width": 390, "height": 844}, has_touch=True, is_mobile=True)
    _found(phone)
    wide = "document.documentElement.scrollWidth <= innerWidth && document.documentElement.scrollHeight <= innerHeight"
    assert phone.page.evaluate(wide)
    phone.page.wait_for_selector("#strip .score", timeout=WAIT_MS)
    assert phone.page.locator("#map").bounding_box()["height"] > 400
    phone.page.tap("[data-part=sheet]")
    phone.page.wait_for_selector("#head-choose", state="visible")
    assert phone.violations() == []


OVERLAPS = """() => {
  const found = [...document.querySelectorAll('.map-label > span, .turn-hand')].map((label) => [label.textContent, label.getBoundingClientRect()]);
  const hit = (a, b) => a.left < b.right - 1 && b.left < a.right - 1 && a.top < b.bottom - 1 && b.top < a.bottom - 1;
  return found.flatMap(([name, box], n) => found.slice(n + 1).filter(([, other]) => hit(box, other)).map(([other]) => `${name} on ${other}`));
}"""
SMALL = """() => [...document.querySelectorAll('button, select, summary, input:not([type=checkbox], [type=radio], [type=range])')].map((each) => [each, each.getBoundingClientRect()])
  .filter(([, box]) => box.width > 1 && box.height > 1 && Math.min(box.height, 44) < 43.5).map(([each, box]) => `${each.outerHTML.slice(0, 90)}: ${box.height}`)"""


def test_phone_has_room_for_names_thumbs_and_three_places(served: Served, chromium) -> None:
    """Names of fields lay under pins and options; the third place of three was out of sight."""
    phone = shown(chromium, served.address, viewport={"width": 390, "height": 844}, has_touch=True, is_mobile=True)
    page = phone.page
    _found(phone)
    phone.until(lambda: page.locator(".map-label:not(.rank, .pin, .height)").count() >= 4)
    page.wait_for_timeout(500)
    assert page.evaluate(OVERLAPS) == []
    score = page.locator("#strip .score-line")
    phone.until(lambda: "of 100" in score.inner_text() and "as kept" not in score.inner_text(), within_s=90)
    page.tap("[data-part=sheet]")
    _open(phone, "choose")
    page.click("button[aria-label='Pin option 3']")
    page.fill("#pin-name", "A third one with quite a long name")
    page.click("#pin-keep")
    page.wait_for_selector("#dialog", state="hidden")
    page.click("#side-by-side")
    page.wait_for_selector(".differences td")
    ends = "cells => cells.map(cell => cell.getBoundingClientRect().right)"
    assert max(page.eval_on_selector_all(".differences tr > :nth-child(4)", ends)) <= 390
    assert page.eval_on_selector("#dialog .table-box", "box => box.scrollWidth <= box.clientWidth")
    page.click("#dialog button:text-is('Close')")
    for heading in ("ground", "surroundings", "house", "find", "choose", "hand_over"):
        _open(phone, heading)
        assert page.evaluate(SMALL) == [], heading
    page.tap("[data-part=strip]")
    assert page.evaluate(SMALL) == []
    page.evaluate("() => fetch('/api/pins/C', {method: 'DELETE', headers: {'X-Desk': '1'}})")


def test_two_pages_draw_compare_and_go_back_beside_each_other(desk: Shown, served: Served, chromium) -> None:
    other = shown(chromium, served.address, viewport=DESKTOP)
    other.page.wait_for_selector("#strip .score", timeout=WAIT_MS)
    (run,) = (path.parent for path in served.folder.glob("runs/*/sites.gpkg"))
    older = run.with_name("2020-01-01_000000")
    shutil.copytree(run, older)
    answer = (older / "answer.json").read_text("utf-8")
    (older / "answer.json").write_text(answer.replace(run.name, older.name), "utf-8")
    before = len(_drawn(desk))
    for page in (desk.page, other.page):
        page.click("#draw")
        page.click(".pane button:text-is('Water')")
    for number, one in enumerate((desk, other)):
        one.page.mouse.click(*one.at(BESIDE_THE_BENCH[0] + 6e-4 * (1 + number), BESIDE_THE_BENCH[1]))
    for page in (desk.page, other.page):
        page.wait_for_selector("#delete-drawn")
        desk.until(lambda page=page: page.locator(".point-drawn.service").count() == 2)
    assert len(_drawn(desk)) == before + 2
    mine = _drawn(desk)[before]["id"]
    other.page.evaluate("id => fetch(`/api/drawn/${id}`, {method: 'DELETE', headers: {'X-Desk': '1'}})", mine)
    desk.page.wait_for_selector("#notice:not([hidden]) >> text=deleted on another page")
    desk.page.click("#undo")
    desk.page.wait_for_selector("#notice >> text=left as it is")
    for one in (desk, other):
        _open(one, "find")
    desk.page.click("button:text-is('Compare on the map')")
    desk.page.wait_for_selector(".compared")
    other.page.click("button:text-is('Go back to this')")
    desk.page.wait_for_selector(".compared", state="detached")
    assert desk.asked("/api/state")["current"] == older.name
    assert other.complaints == []


def test_no_request_left_the_machine(desk: Shown, served: Served) -> None:
    ours = (f"http://127.0.0.1:{served.port}/", "data:", "blob:")
    assert [address for address in desk.requests if not address.startswith(ours)] == []
    assert desk.complaints == []


def test_vendored_packages_come_with_licence_and_version() -> None:
    page = Path(__file__).parents[2] / "tunnelsite" / "desk" / "page" / "vendor"
    words = (page / "README.md").read_text("utf-8")
    for folder in (entry for entry in page.iterdir() if entry.is_dir()):
        assert (folder / "LICENSE").read_text("utf-8").strip()
        assert f"`{folder.name}`" in words
