"""SVG into PNG, through resvg (package resvg-py, an extra): a static renderer that reads no other file and runs no script."""

from __future__ import annotations

import importlib.util

from tunnelsite.core.errors import UsageError

SCALE = 2.0  # about 200 dots an inch on a letter-size page


def require_png() -> None:
    """Errors: UsageError where the extra is not installed; asked before anything is computed."""
    if importlib.util.find_spec("resvg_py") is None:
        raise UsageError(
            "a PNG was asked for and resvg-py is not installed",
            "the extra `png`",
            "pip install resvg-py, or keep to SVG",
        )


def png_of(svg: str, scale: float = SCALE) -> bytes:
    """A PNG of an SVG document.

    Arguments: svg, the document; scale, dots for each of its units. Errors: UsageError as `require_png`.
    """
    require_png()
    import resvg_py

    drawn = resvg_py.svg_to_bytes(svg_string=svg, zoom=scale, background="#ffffff", sans_serif_family="DejaVu Sans")
    return bytes(drawn)
