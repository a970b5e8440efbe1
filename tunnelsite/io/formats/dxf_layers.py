"""The layer table of a drawing: release 12 draws without one, but programs then show every layer white or not at all."""

from __future__ import annotations

_STYLES = "  0\nTABLE\n  2\nSTYLE\n"  # before it, since a layer names a line type and nothing names a layer before the entities


def with_layer_table(drawing: str) -> str:
    """The drawing with a table of the layers that its entities name, each in the colour of its first entity.

    Arguments: drawing, text of `ezdxf.addons.r12writer` with its fixed tables. Errors: ValueError where those are missing.
    """
    head, mark, entities = drawing.partition("SECTION\n2\nENTITIES\n")
    if not mark or _STYLES not in head:
        raise ValueError("the drawing has no table of text styles or no entities")
    layers = _layers(entities)
    rows = "".join(
        f"  0\nLAYER\n  2\n{name}\n 70\n0\n 62\n{colour}\n  6\nCONTINUOUS\n" for name, colour in layers.items()
    )
    table = f"  0\nTABLE\n  2\nLAYER\n 70\n{len(layers)}\n{rows}  0\nENDTAB\n"
    return head.replace(_STYLES, table + _STYLES, 1) + mark + entities


def _layers(entities: str) -> dict[str, str]:
    """Colour by layer: group 8 is an entity's layer, the group 62 that follows it its colour; a text (group 1) is no code."""
    lines = entities.split("\n")
    found: dict[str, str] = {}
    layer = ""
    for code, value in zip(lines[::2], lines[1::2], strict=False):
        if code.strip() == "8":
            layer = value
            found.setdefault(layer, "7")
        elif code.strip() == "62" and found.get(layer) == "7":
            found[layer] = value
    return found
