"""Daily light integral inside a cover, held against what crops want."""

from __future__ import annotations

from dataclasses import dataclass

from tunnelsite.core.sources import source_words

PAR_SHARE = 0.45  # of solar energy between 400 and 700 nm [@par-share]
MOL_PER_MJ = (
    4.57  # mol of photons in 1 MJ of daylight PAR [@mol-per-mj]; 0.45 x 4.57 = 2.06 mol for each MJ of global radiation
)


@dataclass(frozen=True)
class Cover:
    """A cover and the share of the light it passes before frame and dirt.

    Attributes: name; transmission 0..1; source, a key of `sources.toml`.
    """

    name: str
    transmission: float
    source: str


@dataclass(frozen=True)
class CropBand:
    """What a group of crops wants.

    Attributes: name; least, most [mol m-2 d-1], None = open end; source, a key of `sources.toml`.
    """

    name: str
    least: float | None
    most: float | None
    source: str


COVERS = (
    Cover("single polyethylene", 0.885, "cover-film"),
    Cover("double polyethylene", 0.78, "cover-film"),
    Cover("single glass 3 mm", 0.88, "glazing-ngma"),
    Cover("double glass", 0.77, "glazing-ngma"),
    Cover("twin-wall polycarbonate", 0.80, "cover-polycarbonate"),
)
FRAME_AND_DIRT = 0.875  # the middle of what they leave [@cover-frame-dirt]
CROP_BANDS = (
    CropBand("leafy greens and herbs", 12.0, None, "dli-leafy"),
    CropBand("tomato", 20.0, 30.0, "dli-purdue"),
    CropBand("bedding plant seedlings", 10.0, None, "dli-seedlings"),
    CropBand("African violet", 4.0, 6.0, "dli-purdue"),
)


def default_transmission(cover: str = "single polyethylene") -> tuple[float, str]:
    """(share of the light that reaches the crop, where the number comes from) for a cover with frame and dirt.

    Errors: KeyError for an unknown cover.
    """
    found = {item.name: item for item in COVERS}[cover]
    words = f"{found.name} {found.transmission:g}: {source_words(found.source)}; {source_words('cover-frame-dirt')}: x {FRAME_AND_DIRT:g}"
    return found.transmission * FRAME_AND_DIRT, words


def daily_light_integral(daily_mj: float, transmission: float = 1.0) -> float:
    """Photosynthetic light of a day [mol m-2 d-1] from global radiation [MJ m-2 d-1] and the share a cover passes (0..1)."""
    return daily_mj * PAR_SHARE * MOL_PER_MJ * transmission


def against_band(integral: float, band: CropBand) -> str:
    """`below`, `inside` or `above` what the crops want."""
    if band.least is not None and integral < band.least:
        return "below"
    return "above" if band.most is not None and integral > band.most else "inside"
