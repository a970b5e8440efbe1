"""What results show of themselves in a notebook: a title, a table or several, and notes, as HTML."""

from __future__ import annotations

from collections.abc import Iterable, Mapping
from html import escape
from typing import TYPE_CHECKING

if TYPE_CHECKING:
    import pandas

MOST_ROWS = 20  # of a table, which is shown with its first and last rows where it is longer


def notebook_table(title: str, values: Mapping[str, object], notes: Iterable[str] = ()) -> str:
    """Names and values, a row each, under a title; notes below."""
    rows = "".join(f"<tr><th>{escape(name)}</th><td>{escape(str(value))}</td></tr>" for name, value in values.items())
    return f"<table><caption>{escape(title)}</caption>{rows}</table>{_list(notes)}"


def notebook_frames(
    title: str, frames: Mapping[str, pandas.DataFrame], notes: Iterable[str] = (), *, numbered: bool = False
) -> str:
    """Tables below each other, each under its name; what is not known is a dash. Arguments: numbered, whether to show the index."""
    tables = "".join(
        (f"<p>{escape(name)}</p>" if name else "") + frame.to_html(index=numbered, na_rep="-", max_rows=MOST_ROWS)
        for name, frame in frames.items()
    )
    return f"<p>{escape(title)}</p>{tables}{_list(notes)}"


def _list(notes: Iterable[str]) -> str:
    said = "".join(f"<li>{escape(text)}</li>" for text in notes)
    return f"<ul>{said}</ul>" if said else ""
