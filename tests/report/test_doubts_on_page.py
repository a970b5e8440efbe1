"""What is doubtful of the heights stands before the answer."""

from __future__ import annotations

from types import SimpleNamespace
from xml.etree.ElementTree import tostring

from tunnelsite.report import page_opening


def test_doubts_come_before_the_answer(monkeypatch) -> None:
    monkeypatch.setattr(page_opening, "_costliest_words", lambda result: "")
    tables = {"rejections": SimpleNamespace(rows=[])}
    result = SimpleNamespace(doubts=["heights of dem.tif come in steps of 1 m"], scans=[], notes=[], tables=tables)
    text = tostring(page_opening.answer(result, []), encoding="unicode")
    assert text.index("Doubtful heights: heights of dem.tif come in steps of 1 m.") < text.index(
        "No place passes every rule"
    )
