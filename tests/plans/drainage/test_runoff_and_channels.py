"""Properties of the runoff and channel formulas; published figures are in tests/published."""

from __future__ import annotations

import math

import pytest
import shapely
from hypothesis import given
from hypothesis import strategies as st

from tests.plans.places import place
from tunnelsite.core.units import FOOT_M
from tunnelsite.plans.drainage import runoff
from tunnelsite.plans.drainage.channels import Section, manning_velocity_m_s, normal_depth_m
from tunnelsite.plans.drainage.plan import DrainageSettings, post_drain
from tunnelsite.plans.drainage.storm import OutletFlow
from tunnelsite.plans.drainage.warnings import channel_warnings


@given(st.floats(0, 3), st.floats(0, 5), st.floats(1e-4, 2), st.floats(1e-3, 0.2))
def test_normal_depth_carries_the_flow(bottom: float, run: float, flow: float, slope: float) -> None:
    section = Section(bottom + 0.5, run)  # a slot narrower than this is refused as it should be
    depth = normal_depth_m(section, flow, slope, 0.035)
    area = section.area_m2(depth)
    velocity = manning_velocity_m_s(area, section.wetted_perimeter_m(depth), slope, 0.035)
    assert area * velocity == pytest.approx(flow, rel=1e-5)


def test_wide_channel_has_the_depth_as_hydraulic_radius() -> None:
    depth = normal_depth_m(Section(99.0, 0.0), 10.0, 0.01, 0.03)
    assert depth == pytest.approx((10.0 / 99.0 * 0.03 / 0.1) ** 0.6, rel=0.01)


def test_no_flow_stands_no_depth() -> None:
    assert normal_depth_m(Section(0.0, 3.0), 0.0, 0.01, 0.03) == 0.0


@given(st.floats(1, 100), st.floats(0, 0.5), st.floats(0, 0.5))
def test_runoff_grows_with_rain_and_never_exceeds_it(number: float, a: float, b: float) -> None:
    low, high = sorted((a, b))
    assert runoff.runoff_depth_m(low, number) <= runoff.runoff_depth_m(high, number) + 1e-12
    assert 0 <= runoff.runoff_depth_m(high, number) <= high + 1e-12


def test_sealed_ground_sheds_all_rain() -> None:
    assert runoff.runoff_depth_m(0.05, 100) == pytest.approx(0.05)


def test_triangle_holds_the_runoff() -> None:
    """The triangle's base is 8/3 of the time to peak: half base times peak is the volume (derived)."""
    peak = runoff.curve_number_peak_m3_s(0.02, 5_000.0, 600.0, 900.0)
    to_peak = 300.0 + 540.0
    assert peak * to_peak * (8 / 3) / 2 == pytest.approx(0.02 * 5_000.0)
    # 484 A Q / Tp [@unit-hydrograph]: one square mile, an inch, an hour; 484 is 645.33 x 0.75 = 484.0
    mile, inch, cfs = 1609.344**2, 0.0254, 0.3048**3
    assert runoff.curve_number_peak_m3_s(inch, mile, 3600.0, 3000.0) / cfs == pytest.approx(484.0, abs=0.01)


def test_long_paths_are_sheet_flow_first_then_shallow() -> None:
    sheet = runoff.sheet_flow_time_s(runoff.SHEET_LIMIT_M, 0.02, 0.24, 0.08)
    whole = runoff.concentration_time_s(runoff.SHEET_LIMIT_M + 100, 0.02, 0.24, 0.08)
    assert whole - sheet == pytest.approx(runoff.shallow_flow_time_s(100, 0.02))
    assert runoff.concentration_time_s(10, 0.02, 0.24, 0.08) == runoff.sheet_flow_time_s(10, 0.02, 0.24, 0.08)


@pytest.mark.parametrize(
    "call",
    [
        lambda: runoff.retention_m(0),
        lambda: runoff.retention_m(101),
        lambda: runoff.runoff_depth_m(-1, 70),
        lambda: runoff.runoff_depth_m(math.nan, 70),
        lambda: runoff.sheet_flow_time_s(10, 0, 0.24, 0.08),
        lambda: runoff.rational_peak_m3_s(1.4, 10, 10),
        lambda: runoff.curve_number_peak_m3_s(0.1, 10, 0, 10),
        lambda: Section(0.0, 0.0),
        lambda: Section(1.0, 150.0),
        lambda: Section(1.0, 100.0),
        lambda: Section(150.0, 1.0),
        lambda: Section(-0.1, 1.0),
        lambda: manning_velocity_m_s(0.0, 1.0, 0.01, 0.03),
        lambda: normal_depth_m(Section(1.0, 1.0), 1.0, 0.0, 0.03),
        lambda: normal_depth_m(Section(0.1, 0.0), 1e9, 0.01, 0.03),
    ],
)
def test_amounts_that_cannot_be_meant(call) -> None:
    with pytest.raises(ValueError, match=r"expected|check the flow"):
        call()


def test_peak_at_an_outlet_by_its_parts() -> None:
    """Time over land at the way's mean slope, at least 0.1 %, then down the channel; the peak of the triangle; depth and speed."""
    from types import SimpleNamespace

    from tunnelsite.plans.drainage.storm import Storm, outlet_flow
    from tunnelsite.plans.drainage.swale import SwaleRule

    arm, rule = SimpleNamespace(distance_m=[0.0, 40.0], steepest=0.02), SwaleRule()
    storm = Storm(0.35, 80.0, curve_number=74.0, burst_m=0.03, burst_s=900.0, two_year_rain_m=0.07)
    rational = runoff.rational_peak_m3_s(0.35, 80.0, 8000.0)
    depth = normal_depth_m(rule.section, rational, rule.fall, rule.roughness)
    speed = rational / rule.section.area_m2(depth)
    for drop, slope in ((6.0, 0.05), (0.0, 0.001)):
        found = outlet_flow(arm, rule, storm, (8000.0, False), (120.0, drop))
        land = runoff.concentration_time_s(120.0, slope, storm.sheet_roughness, 0.07)
        assert found.concentration_s == pytest.approx(land + 40.0 / speed, rel=1e-6)
        by_number = runoff.curve_number_peak_m3_s(
            runoff.runoff_depth_m(0.03, 74.0), 8000.0, 900.0, found.concentration_s
        )
        assert found.rational_m3_s == rational and found.curve_number_m3_s == pytest.approx(by_number)
        assert found.peak_m3_s == max(rational, by_number) and found.steep_velocity_m_s > found.velocity_m_s


@pytest.mark.parametrize(
    ("ft_s", "words"),
    [(2.9, None), (3.1, "lay erosion matting"), (4.9, "lay erosion matting"), (5.1, "flatten it or line it")],
)
def test_a_waterway_s_speed_asks_for_matting_above_3_ft_s_and_for_lining_above_5(
    ft_s: float, words: str | None
) -> None:
    """Velocities of a grassed waterway [@waterway-velocity]."""
    flow = OutletFlow(4000.0, False, peak_m3_s=0.02, depth_m=0.1, velocity_m_s=0.2, steep_velocity_m_s=ft_s * FOOT_M)
    said = channel_warnings("West arm", flow, DrainageSettings(), feet=True)
    assert [words in one for one in said] == [True] if words else said == []


@pytest.mark.parametrize("offset_m", [0.46, 0.61])
def test_a_french_drain_runs_round_the_house_at_its_offset_from_the_posts(offset_m: float) -> None:
    where = place(length_m=20.0, width_m=8.0, apron_m=2.0)
    drain = post_drain(where, offset_m)
    house = where.on_grid(shapely.box(-10, -4, 10, 4))
    assert drain.is_ring and shapely.distance(drain, house) == pytest.approx(offset_m)
    assert shapely.hausdorff_distance(drain, house.exterior) == pytest.approx(math.hypot(offset_m, offset_m))


@pytest.mark.parametrize(
    ("spare_m", "words"), [(0.2, None), (0.001, "of freeboard: make it deeper"), (-0.01, "make it larger")]
)
def test_a_swale_keeps_its_freeboard_above_the_peak_flow(spare_m: float, words: str | None) -> None:
    settings = DrainageSettings()
    depth_m = settings.swale.depth_m - spare_m
    flow = OutletFlow(4000.0, False, peak_m3_s=0.02, depth_m=depth_m, velocity_m_s=0.2, steep_velocity_m_s=0.3)
    said = channel_warnings("West arm", flow, settings, feet=True)
    assert [words in one for one in said] == [True] if words else said == []
