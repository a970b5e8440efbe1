"""Daily light integral inside a cover, held against what crops want."""

from __future__ import annotations

from dataclasses import dataclass

PAR_SHARE = 0.45  # of solar energy between 400 and 700 nm [memory]
MOL_PER_MJ = 4.57  # mol of photons in 1 MJ of daylight PAR [memory]; 0.45 x 4.57 = 2.06 mol for each MJ of global radiation [derived]


@dataclass(frozen=True)
class Cover:
    """A cover and the share of the light it passes before frame and dirt.

    Attributes: name; transmission 0..1; source with its label (seen, memory).
    """

    name: str
    transmission: float
    source: str


@dataclass(frozen=True)
class CropBand:
    """What a group of crops wants.

    Attributes: name; least, most [mol m-2 d-1], None = open end; source with its label.
    """

    name: str
    least: float | None
    most: float | None
    source: str


COVERS = (
    Cover("single polyethylene", 0.885, "middle of 0.87-0.90, memory"),
    Cover("double polyethylene", 0.78, "middle of 0.76-0.80, memory"),
    Cover("single glass 3 mm", 0.88, "NGMA text on a trade blog, seen"),
    Cover("double glass", 0.77, "NGMA text on a trade blog, seen"),
    Cover("polycarbonate", 0.85, "up to this, seen"),
)
FRAME_AND_DIRT = 0.875  # they take 5-20 % more, memory; the middle of that is used
CROP_BANDS = (
    CropBand("leafy greens and herbs", 12.0, None, "Plants 2024, 13:652, citing earlier work, seen"),
    CropBand("fruiting vegetables", 20.0, 25.0, "C. Gomez, talk, seen"),
    CropBand("tomato", 20.0, 30.0, "encyclopaedic page citing Purdue HO-238, seen"),
    CropBand("most ornamentals", None, 12.0, "C. Gomez, talk, seen"),
    CropBand("African violet", 4.0, 6.0, "encyclopaedic page citing Purdue HO-238, seen"),
)


def default_transmission(cover: str = "single polyethylene") -> tuple[float, str]:
    """(share of the light that reaches the crop, where the number comes from) for a cover with frame and dirt.

    Errors: KeyError for an unknown cover.
    """
    found = {item.name: item for item in COVERS}[cover]
    words = f"{found.name} {found.transmission:g} ({found.source}) x frame and dirt {FRAME_AND_DIRT:g} (middle of a 5-20 % loss, memory)"
    return found.transmission * FRAME_AND_DIRT, words


def daily_light_integral(daily_mj: float, transmission: float = 1.0) -> float:
    """Photosynthetic light of a day [mol m-2 d-1] from global radiation [MJ m-2 d-1] and the share a cover passes (0..1)."""
    return daily_mj * PAR_SHARE * MOL_PER_MJ * transmission


def against_band(integral: float, band: CropBand) -> str:
    """`below`, `inside` or `above` what the crops want."""
    if band.least is not None and integral < band.least:
        return "below"
    return "above" if band.most is not None and integral > band.most else "inside"
