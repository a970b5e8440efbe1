"""What is shown in a notebook holds the names and values, and nothing that a browser would run."""

from __future__ import annotations

import numpy as np
import pandas

from tunnelsite import House, Placement
from tunnelsite.core.layers import Features, SourceRaster
from tunnelsite.core.notebook import MOST_ROWS, notebook_frames, notebook_table
from tunnelsite.core.site import Site


def test_names_and_values_are_escaped() -> None:
    shown = notebook_table("<b>farm</b>", {"a<b": "<script>"}, ["5 < 6"])
    assert "<script>" not in shown and "<b>" not in shown
    assert "a&lt;b" in shown and "<li>5 &lt; 6</li>" in shown
    assert "<ul>" not in notebook_table("farm", {})


def test_long_tables_are_cut() -> None:
    frame = pandas.DataFrame({"rank": range(500), "name": "<i>"})
    shown = notebook_frames("options", {"candidates": frame})
    assert shown.count("<tr") <= MOST_ROWS + 3 and "<i>" not in shown


def test_a_place_and_a_site_say_shortly_what_they_are() -> None:
    place = Placement(-78.145, 43.009, 90.0, House.parse("30x96ft"), settings=(("apron", 1.2), ("kind", "in-ground")))
    assert len(repr(place)) < 120 and "30x96ft" in repr(place)
    assert "apron" in place._repr_html_() and "43.009" in place._repr_html_()
    dem = SourceRaster(np.zeros((4, 5), np.float32), (1, 0, 0, 0, -1, 0), None, notes=("heights are in m",))  # type: ignore[arg-type]
    parcels = Features(np.empty(2, object), name="parcels.gpkg")
    shown = Site(dem, parcels)._repr_html_()
    assert "4 x 5 cells" in shown and "2 features" in shown and "heights are in m" in shown
