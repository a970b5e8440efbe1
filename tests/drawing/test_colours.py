"""Colours of cut and fill: OKLab against values printed elsewhere, and what a grey print keeps."""

import numpy as np

from tunnelsite.drawing.colours import cut_fill_colour, rgb_hex


def _luminance(colour: str) -> float:
    """Relative luminance [@wcag] (0.2126, 0.7152, 0.0722 of the linear channels)."""
    value = np.array([int(colour[i : i + 2], 16) for i in (1, 3, 5)]) / 255
    linear = np.where(value <= 0.04045, value / 12.92, ((value + 0.055) / 1.055) ** 2.4)
    return float(linear @ [0.2126, 0.7152, 0.0722])


def test_oklab_of_known_colours():
    """White, black and the greys by definition (lightness is the cube root of luminance); red [@oklab]."""
    assert rgb_hex(1.0, 0.0, 0.0) == "#ffffff" and rgb_hex(0.0, 0.0, 0.0) == "#000000"
    for lightness in (0.3, 0.5, 0.8):
        assert abs(_luminance(rgb_hex(lightness, 0.0, 0.0)) - lightness**3) < 0.004
    red = rgb_hex(0.627955, 0.224863, 0.125846)
    assert max(abs(int(red[i : i + 2], 16) - wanted) for i, wanted in ((1, 255), (3, 0), (5, 0))) <= 1


def test_equal_depths_weigh_the_same_and_deeper_is_darker():
    shares = np.linspace(0, 1, 11)
    cut, fill = ([_luminance(cut_fill_colour(sign * share)) for share in shares] for sign in (1, -1))
    assert (np.diff(cut) < 0).all() and (np.diff(fill) < 0).all()
    assert np.abs(np.array(cut) - fill).max() < 0.03
    assert cut_fill_colour(0.0) == cut_fill_colour(-0.0)


def test_told_apart_without_red_or_green():
    """Cut is warm, fill is cold: their blue channel differs, which colour-blind people of the common kinds see."""
    for share in (0.25, 0.5, 1.0):
        cut, fill = (int(cut_fill_colour(sign * share)[5:7], 16) for sign in (1, -1))
        assert fill - cut > 45 * share
