"""The report page in a real browser, with the network off: it asks for nothing, complains of nothing, and does what it says."""

from __future__ import annotations

import re
from dataclasses import replace

import numpy as np
import pytest

from tests.report.browser import browser, opened
from tunnelsite.report.page import PageAsk, report_page
from tunnelsite.scan.combine import UNKNOWN_MARK, WAYS, combined, filled_marks
from tunnelsite.scan.firmness.other_weights import candidates_over_shifts


@pytest.fixture(scope="module")
def chromium():
    with browser() as started:
        yield started


@pytest.fixture(scope="module")
def shown(chromium, hostile):
    return opened(chromium, hostile.full_path.as_uri(), viewport={"width": 1300, "height": 900})


@pytest.fixture
def fresh(shown, hostile):
    """The same page as on opening."""
    shown.page.goto("about:blank")
    shown.page.goto(hostile.full_path.as_uri())
    return shown.page


def column(page, key: str) -> list[str]:
    """The texts of a column of the ranking, from top to bottom."""
    return page.evaluate(
        """key => { const heads = [...document.querySelectorAll('#ranking-table thead th')];
        const k = heads.findIndex(head => head.dataset.key === key);
        return [...document.querySelectorAll('#ranking-table tbody tr')].map(row => row.cells[k].textContent); }""",
        key,
    )


def set_weight(page, criterion: str, value: float) -> None:
    """Moves a slider as a hand would end up moving it."""
    page.evaluate(
        """([id, value]) => { const data = JSON.parse(document.getElementById('report-data').textContent);
        const k = data.criteria.findIndex(criterion => criterion.id === id);
        const slider = document.getElementById('weight-' + k);
        slider.value = String(value); slider.dispatchEvent(new Event('input', { bubbles: true })); }""",
        [criterion, value],
    )


def test_nothing_is_asked_for_and_nothing_complained_of(chromium, hostile) -> None:
    for path in (hostile.full_path, hostile.client_path):
        found = opened(chromium, path.as_uri())
        for card in found.page.locator("article.card summary").all():
            if card.is_visible():
                card.click()
        found.page.evaluate(
            "document.querySelectorAll('img').forEach(image => { if (!image.naturalWidth) throw Error(image.alt); })"
        )
        assert [address for address in found.requests if not address.startswith("data:")] == [path.as_uri()]
        assert found.complaints == []
        assert found.page.title().startswith("Farm </script><img src=x")
        found.page.context.close()


def test_the_policy_really_forbids(chromium, hostile, tmp_path) -> None:
    """The same page with an image from elsewhere, a foreign script and a handler written into it: all three are refused."""
    evil = (
        "<img src='http://127.0.0.1:9/x.png' onerror=\"document.title='owned'\"><script>document.title='owned'</script>"
    )
    path = tmp_path / "evil.html"
    path.write_text(hostile.full.replace("</main>", evil + "</main>"), "utf-8")
    found = opened(chromium, path.as_uri())
    found.page.wait_for_timeout(100)
    assert found.page.title() != "owned"
    assert len([text for text in found.complaints if "Content Security Policy" in text]) >= 2
    found.page.context.close()


def test_the_table_sorts_and_says_how(fresh) -> None:
    head = fresh.locator("th[data-key=pitch]")
    assert fresh.locator("th[data-key=rank]").get_attribute("aria-sort") == "ascending"
    head.get_by_role("button").click()
    rising = [float(text) for text in column(fresh, "pitch")]
    assert rising == sorted(rising) and head.get_attribute("aria-sort") == "ascending"
    head.get_by_role("button").focus()
    fresh.keyboard.press("Enter")  # by keyboard too
    assert [float(text) for text in column(fresh, "pitch")] == sorted(rising, reverse=True)
    assert head.get_attribute("aria-sort") == "descending"
    assert fresh.locator("th[aria-sort=ascending]").count() == 0
    fresh.locator("th[data-key=score] button").click()
    falling = [float(text) for text in column(fresh, "score")]
    assert falling == sorted(falling, reverse=True), "of points the most come first"


def test_sliders_rank_again_with_the_arithmetic_of_the_screening(fresh, hostile) -> None:
    result = hostile.result
    changes = {"sun": 0.0, "pitch": 7.25, "reach_water": 9.5, "deepest_cut": 0.25}
    for criterion, weight in changes.items():
        set_weight(fresh, criterion, weight)
    again = result.rescore(weights=changes)
    wanted = [float(again.scored[choice.scan][choice.item]) for choice in result.choices]
    order = sorted(
        range(len(wanted)),
        key=lambda k: (-wanted[k], result.choices[k].scan, result.scans[0].index[result.choices[k].item]),
    )
    assert column(fresh, "rank") == [str(k + 1) for k in order]
    assert column(fresh, "now") == [str(k + 1) for k in range(len(order))]
    shown = fresh.evaluate(
        "[...document.querySelectorAll('#ranking-table tbody tr')].map(row => Number(row.cells[2].dataset.value))"
    )
    np.testing.assert_allclose(shown, [wanted[k] for k in order], atol=1e-5)
    marks = candidates_over_shifts(result)
    between = ~marks.assessed & (marks.counted != UNKNOWN_MARK)
    assert between.any(), "the test should hold a mark that is known only at spots within the shift"
    assert order != sorted(order), "the test would prove nothing if the order stayed"
    assert f"option {order[0] + 1} comes first" in fresh.locator("#now-best").inner_text()
    command = fresh.locator("#rescore-command").inner_text()
    assert all(f"--weight {name}={weight:g}" in command for name, weight in changes.items())
    assert fresh.locator(".mark.best-now").get_attribute("data-rank") == str(order[0] + 1)
    lead = fresh.locator("#lead-now")
    assert (
        f"option {order[0] + 1} has the highest score" in lead.inner_text()
        and not fresh.locator(".short .lead").first.is_visible()
    )
    assert "with your weights" in fresh.locator("#candidate-1 .score-now").inner_text()
    assert all(f"{name}={weight:g}" in fresh.url for name, weight in changes.items())
    shown_there = fresh.url
    fresh.goto("about:blank")
    fresh.goto(shown_there)  # as sent to someone else
    assert column(fresh, "rank") == [str(k + 1) for k in order]
    fresh.locator("#reset-weights").click()
    assert "#" not in fresh.url and not lead.is_visible()
    assert column(fresh, "rank") == [str(k + 1) for k in range(len(wanted))]
    assert "These are the weights of the screening" in fresh.locator("#now-best").inner_text()


def test_no_weight_at_all_is_no_ranking(fresh) -> None:
    for slider in fresh.locator(".slider input").all():
        slider.evaluate(
            "slider => { slider.value = '0'; slider.dispatchEvent(new Event('input', { bubbles: true })); }"
        )
    assert set(column(fresh, "now")) == {"–"} and "no ranking" in fresh.locator("#now-best").inner_text()


@pytest.mark.parametrize("way", WAYS)
def test_every_way_to_combine_is_that_of_the_screening(chromium, hostile, tmp_path, way) -> None:
    """Random marks with gaps and ties, put into the page in place of its own, against `scan.combine.combined`."""
    numbers = np.random.default_rng(11)
    count = len(hostile.result.choices)
    text = re.search(r'(<script type="application/json"[^>]*>)(.*?)</script>', hostile.full, re.DOTALL)
    criteria = text[2].count('"title"')
    marks = numbers.choice([0.0, 0.25, 0.5, 1.0, np.nan, *numbers.random(4)], (criteria, count))
    weights = numbers.choice([0.0, 0.5, 1.0, 3.0], criteria)
    weights[0] = 2.0
    found = opened(chromium, _with_marks(hostile.full, marks, weights, way, tmp_path).as_uri())
    values = found.page.evaluate(
        "[...document.querySelectorAll('#ranking-table tbody tr')].map(r => [+r.dataset.rank, r.cells[2].dataset.value])"
    )
    shown = {rank: np.nan if value == "" else float(value) for rank, value in values}
    wanted = np.round(100 * combined(marks, weights, way) / 1e-6) * 1e-6
    np.testing.assert_allclose([shown[k + 1] for k in range(count)], wanted, atol=1.01e-6)
    assert found.complaints == []
    found.page.context.close()


def test_a_tie_of_the_last_digit_is_rounded_as_in_the_words_of_the_page(chromium, hostile, tmp_path) -> None:
    """81.25 stood as 81.2 in the words, by Python's rule, and as 81.3 in the ranking, by the browser's."""
    text = re.search(r'(<script type="application/json"[^>]*>)(.*?)</script>', hostile.full, re.DOTALL)
    criteria, count = text[2].count('"title"'), len(hostile.result.choices)
    weights = np.zeros(criteria)
    weights[0] = 1.0
    marks = np.tile(np.resize([0.8125, 0.8175, 0.8135, 0.5, 0.2525, 0.0025, 0.9925], count), (criteria, 1))
    found = opened(chromium, _with_marks(hostile.full, marks, weights, "mean", tmp_path).as_uri())
    shown = found.page.evaluate(
        "[...document.querySelectorAll('#ranking-table tbody tr')].map(r => [r.cells[2].dataset.value, r.cells[2].innerText])"
    )
    assert "81.2" in [text for _, text in shown]
    assert [text for _, text in shown] == [f"{float(value):.1f}" for value, _ in shown]
    found.page.context.close()


def _with_marks(page: str, marks: np.ndarray, weights: np.ndarray, way: str, folder):
    import json

    head, body, tail = re.split(r'(?<=id="report-data">)(.*?)(?=</script>)', page, maxsplit=1, flags=re.DOTALL)
    data = json.loads(body)
    data["combine"] = way
    for criterion, weight in zip(data["criteria"], weights.tolist(), strict=True):
        criterion["weight"] = weight
    for k, candidate in enumerate(data["candidates"]):
        candidate["rest"] = 0.0
        candidate["marks"] = filled_marks(marks[:, k]).tolist()
        candidate["assessed"] = np.isfinite(marks[:, k]).tolist()
    path = folder / f"{way}.html"
    path.write_text(head + json.dumps(data) + tail, "utf-8")
    return path


def test_cards_open_from_the_map_by_mouse_and_by_keyboard(fresh) -> None:
    second = fresh.locator("#candidate-2 > details")
    assert second.get_attribute("open") is None
    link = fresh.locator(".mark[data-rank='2']")
    link.focus()
    fresh.keyboard.press("Enter")
    fresh.locator("#candidate-2 > details[open]").wait_for(timeout=5000)
    assert fresh.locator("#candidate-2 summary").first.evaluate("summary => summary === document.activeElement")
    assert "chosen" in fresh.locator("#row-2").get_attribute("class")
    fresh.locator("#open-all").click()  # all are open: it closes them
    assert fresh.locator("article.card > details[open]").count() == 0
    fresh.locator("#ranking-table tbody a").first.click()
    fresh.locator("#candidate-1 > details[open]").wait_for(timeout=5000)


def test_the_map_zooms_and_stays_in_its_frame(fresh) -> None:
    whole = [float(part) for part in fresh.locator("svg.farm-map").get_attribute("viewBox").split()]
    fresh.get_by_role("button", name="Zoom in").click()
    part = [float(part) for part in fresh.locator("svg.farm-map").get_attribute("viewBox").split()]
    assert part[2] < whole[2] and part[0] >= whole[0] and part[0] + part[2] <= whole[0] + whole[2] + 1e-6
    fresh.get_by_role("button", name="Zoom out").click()
    assert [float(part) for part in fresh.locator("svg.farm-map").get_attribute("viewBox").split()] == whole


def test_the_key_hides_and_shows_what_was_rejected(fresh) -> None:
    box = fresh.locator("input[data-group=edge]")
    area = fresh.locator("g.outcome[data-group=edge]")
    box.uncheck()
    assert not area.is_visible()
    box.check()
    assert area.is_visible()


@pytest.mark.parametrize("width", [360, 400, 768, 1300])
def test_no_page_is_wider_than_its_window(shown, hostile, width) -> None:
    """WCAG 2.1, 1.4.10: reading needs no scrolling in two directions (tables scroll inside their own frame)."""
    shown.page.set_viewport_size({"width": width, "height": 800})
    shown.page.goto(hostile.full_path.as_uri() + "?all")
    shown.page.locator("#open-all").click()
    assert shown.page.evaluate("document.documentElement.scrollWidth") <= width
    shown.page.set_viewport_size({"width": 1300, "height": 900})


def test_without_script_everything_is_there_to_read(chromium, hostile) -> None:
    found = opened(chromium, hostile.full_path.as_uri(), java_script_enabled=False)
    assert (
        not found.page.locator(".sliders").is_visible()
        and found.page.get_by_text("Sliders need JavaScript").is_visible()
    )
    found.page.locator("#candidate-2 > details > summary").click()
    assert found.page.locator("#candidate-2 .card-body").is_visible()
    found.page.context.close()


def test_paper_holds_the_first_three_cards_and_those_that_are_open(chromium, hostile, tmp_path) -> None:
    """Five cards, the last opened by hand; after printing the page is as before. Of options chosen by hand paper holds all."""
    studies = [replace(hostile.studies[0], rank=rank) for rank in range(1, 6)]
    path = tmp_path / "five.html"
    path.write_text(report_page(hostile.result, studies, PageAsk("Farm", False, "today")), "utf-8")
    found = opened(chromium, path.as_uri())
    page = found.page
    page.locator("#candidate-5 > details > summary").click()
    open_then = page.locator("details[open]").count()
    page.emulate_media(media="print")
    page.evaluate("dispatchEvent(new Event('beforeprint'))")
    assert not page.locator(".sliders").is_visible()
    assert [page.locator(f"#candidate-{rank} .card-body").is_visible() for rank in range(1, 6)] == [
        True,
        True,
        True,
        False,
        True,
    ]
    assert page.locator("#candidate-5 .marks-table").is_visible()
    assert page.get_by_text("Here are the cards of options 1, 2 and 3").is_visible()
    page.evaluate("dispatchEvent(new Event('afterprint'))")
    assert page.locator("details[open]").count() == open_then
    paper = page.pdf(prefer_css_page_size=True)
    assert paper.startswith(b"%PDF-") and len(re.findall(rb"/Type\s*/Page\b", paper)) >= 6
    assert page.locator("details[open]").count() == open_then
    page.emulate_media(media="screen")
    assert (
        page.locator("#candidate-4 > details > summary").is_visible()
        and not page.get_by_text("Here are the cards").is_visible()
    )
    page.context.close()
    chosen = report_page(hostile.result, studies, PageAsk("Farm", False, "today", chosen=True))
    assert "card aside" not in chosen and "Here are the cards" not in chosen
