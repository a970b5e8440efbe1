"""Makes the pictures of the desk from the sample farm: `python docs/pictures/make_desk_pictures.py [FOLDER]`.

Needs what the tests need and a Chromium on the path; a minute, and one more where the kernels are not compiled yet.
"""

from __future__ import annotations

import io
import sys
import tempfile
from pathlib import Path

from PIL import Image

HERE = Path(__file__).resolve().parent
sys.path.insert(0, str(HERE.parents[1]))

from tests.desk.served import WAIT_MS, Served, Shown, shown  # noqa: E402
from tests.report.browser import browser  # noqa: E402

PICTURES = ("desk.png", "desk-pond.png", "desk-phone.png")
COLOURS = 256
POND = (-78.14363, 43.00667)


def make_pictures(folder: Path) -> list[Path]:
    """Make every picture in `folder`."""
    folder.mkdir(parents=True, exist_ok=True)
    with tempfile.TemporaryDirectory() as name, browser() as started:
        served = Served(Path(name) / "my-farm")
        served.folder.mkdir()
        served.start()
        try:
            made = {"desk.png": _first_option(shown(started, served.address, viewport={"width": 1280, "height": 800}))}
            made["desk-pond.png"] = _on_the_pond(
                shown(started, served.address, viewport={"width": 1280, "height": 800})
            )
            phone = {"viewport": {"width": 390, "height": 844}, "has_touch": True, "is_mobile": True}
            made["desk-phone.png"] = _on_a_phone(shown(started, served.address, **phone))
        finally:
            served.kill()
    for title, data in made.items():
        (folder / title).write_bytes(_small(data))
    return [folder / title for title in made]


def _first_option(desk: Shown) -> bytes:
    page = desk.page
    page.click("#begin-sample")
    page.wait_for_selector(".leaflet-ground-pane img", timeout=WAIT_MS)
    page.click("#find-places")
    page.wait_for_selector("#option-1", timeout=WAIT_MS)
    page.wait_for_selector("#cancel", state="detached", timeout=WAIT_MS)
    _with_scores(desk)
    page.click("#option-1")
    page.wait_for_timeout(1500)
    return page.screenshot()


def _on_the_pond(desk: Shown) -> bytes:
    page = desk.page
    page.wait_for_selector("#strip .score", timeout=WAIT_MS)
    _with_scores(desk)
    page.mouse.click(*desk.at(*POND))
    page.click("#map-card >> text=Put the house here")
    page.click("#map-card >> text=Close")
    for _ in range(4):
        page.keyboard.press("+")
    page.wait_for_timeout(1500)
    return page.screenshot()


def _on_a_phone(desk: Shown) -> bytes:
    page = desk.page
    page.wait_for_selector("#strip .score", timeout=WAIT_MS)
    page.wait_for_selector(".leaflet-ground-pane img")
    page.tap("[data-part=sheet]")
    page.tap("#option-1")
    page.tap("[data-part=map]")
    page.wait_for_timeout(4000)
    return page.screenshot()


def _with_scores(desk: Shown) -> None:
    desk.page.click("#layers")
    desk.page.check("#layer-score")
    desk.page.click("#layers")
    desk.page.wait_for_timeout(4000)  # the picture comes from the server


def _small(data: bytes) -> bytes:
    out = io.BytesIO()
    picture = Image.open(io.BytesIO(data)).convert("RGB")
    # the few warm points of a calm page would be lost without the last step
    picture.quantize(COLOURS, method=Image.Quantize.MEDIANCUT, kmeans=3, dither=Image.Dither.NONE).save(
        out, "PNG", optimize=True
    )
    return out.getvalue()


if __name__ == "__main__":
    for made in make_pictures(Path(sys.argv[1]) if len(sys.argv) > 1 else HERE):
        print(made)
