"""Colours of cut and fill: even steps of lightness and hue in a perceptual space, told apart without red and green.

Cut goes to brown, fill to blue, through near-white. Both ends are equally dark on purpose, so that equal depths weigh
the same; on a grey print the hatching over fill and the signed spot values tell them apart.
"""

from __future__ import annotations

import math

# Lightness, chroma and hue [deg] in OKLab of the two ends and the middle; chosen here.
CUT_END, FILL_END, MIDDLE_LIGHTNESS = (0.45, 0.115, 58.0), (0.45, 0.115, 252.0), 0.975
INK, SOFT, PAPER, WATER = "#1b1f24", "#5b6570", "#ffffff", "#0b5cad"
KEEP_OUT = "#b3400a"  # far from the blue of water for the colour-blind, too


def cut_fill_colour(share: float) -> str:
    """The colour `#rrggbb` of a depth as a share of the deepest one: -1 all fill, 0 neither, 1 all cut."""
    end = CUT_END if share > 0 else FILL_END
    depth = min(abs(share), 1.0)
    lightness = MIDDLE_LIGHTNESS + depth * (end[0] - MIDDLE_LIGHTNESS)
    angle = math.radians(end[2])
    chroma = depth * end[1]
    return rgb_hex(lightness, chroma * math.cos(angle), chroma * math.sin(angle))


def rgb_hex(lightness: float, a: float, b: float) -> str:
    """An OKLab colour as sRGB `#rrggbb`, clipped to what a screen can show.

    Source: B. Ottosson, A perceptual color space for image processing (2020) [@oklab].
    """
    l_, m_, s_ = (
        (lightness + x * a + y * b) ** 3
        for x, y in (
            (0.3963377774, 0.2158037573),
            (-0.1055613458, -0.0638541728),
            (-0.0894841775, -1.2914855480),
        )
    )
    linear = (
        4.0767416621 * l_ - 3.3077115913 * m_ + 0.2309699292 * s_,
        -1.2684380046 * l_ + 2.6097574011 * m_ - 0.3413193965 * s_,
        -0.0041960863 * l_ - 0.7034186147 * m_ + 1.7076147010 * s_,
    )
    return "#" + "".join(f"{round(255 * _gamma(min(max(value, 0.0), 1.0))):02x}" for value in linear)


def _gamma(value: float) -> float:
    """The sRGB transfer function (IEC 61966-2-1)."""
    return 12.92 * value if value <= 0.0031308 else 1.055 * value ** (1 / 2.4) - 0.055


def halo(width: float = 3.5) -> dict[str, object]:
    """A rim of paper round words, so that they stand out from what lies under them."""
    return {"paint_order": "stroke", "stroke": PAPER, "stroke_width": width, "stroke_linejoin": "round"}
