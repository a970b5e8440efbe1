"""Ground that may be the bed of a river which the end of the data cuts off, on made valleys of 1 m cells."""

from __future__ import annotations

import numpy as np
import pytest

from tunnelsite.core.freeboard import FREEBOARD_M
from tunnelsite.kernels.water.fill import filled
from tunnelsite.kernels.water.flow import flow_direction
from tunnelsite.processes.cut_off_beds import cut_off_beds

R, C = np.mgrid[0:160, 0:160].astype(np.float32)
# An old arm 70 m wide at the end of the data, 4 m below a terrace; the foot of its bank rises over 10 m.
ARM = np.where(R < 70, 125.0, np.minimum(125.0 + 0.4 * (R - 70), 129.0 + 0.002 * R)) + 0.0005 * C
ROUGH = np.random.default_rng(3).normal(0, 0.02, R.shape)


def beds(ground: np.ndarray, height: np.ndarray | None = None) -> np.ndarray:
    """Where water runs over the whole ground, and nothing is known of heights above lines."""
    ground = np.asarray(ground, np.float32)
    height = np.full(ground.shape, np.nan, np.float32) if height is None else height
    return cut_off_beds(ground, height, flow_direction(filled(ground), 1.0), 1.0)


def test_an_old_arm_is_found_up_to_the_foot_of_its_bank() -> None:
    found = beds(ARM + ROUGH)
    assert found[:69].all(), "also within 25 m of the bank, where the ground round a place is not level"
    assert not found[73:].any() and not found[ARM > 125.08 + FREEBOARD_M + 0.1].any()
    known = np.where(C < 40, np.float32(2.0), np.float32(np.nan))
    assert not beds(ARM + ROUGH, known)[:, :40].any(), "what is known to stand above its drainage is none"


@pytest.mark.parametrize("turn", range(4))
@pytest.mark.parametrize("mirror", [False, True])
def test_turned_mirrored_lifted_and_moved_it_is_the_same(turn, mirror) -> None:
    def other(values: np.ndarray) -> np.ndarray:
        turned = np.rot90(values, turn)
        return turned[:, ::-1] if mirror else turned

    wanted, ground = beds(ARM + ROUGH), np.float32(ARM + ROUGH)
    np.testing.assert_array_equal(beds(other(ground)), other(wanted))
    np.testing.assert_array_equal(beds(ground + np.float32(512.0)), wanted)
    moved = np.pad(ground, ((30, 10), (20, 40)), constant_values=np.nan)  # a raster that reaches beyond its data
    np.testing.assert_array_equal(beds(moved), np.pad(wanted, ((30, 10), (20, 40))))


@pytest.mark.parametrize(
    "ground",
    [
        129 + 0.002 * R,  # the terrace alone
        125 + 0.03 * R,  # a slope whose foot is the end of the data
        125 + 0.03 * (160 - R) + 0.01 * C,
        np.where(R < 70, 125.0, 126.2),  # 1.2 m: no bank
        np.where((R < 110) & (R >= 70), 124.0, 129.0)
        + 0.001 * R,  # a hollow: its water does not leave where it is level
        125 + 0.0002 * (R - 80) ** 2,
        np.where((R > 20) & (R < 24), 123.5, ARM),  # a field beside a stream that the data hold
        np.where(R < 70, 125.0 + 0.01 * R, 150.0),  # the floor of a valley, its side 24 m high: it falls by 1 %
    ],
)
def test_what_is_no_cut_off_bed(ground) -> None:
    assert not beds(ground).any() and not beds(ground + ROUGH).any()


def test_water_that_leaves_into_a_hole_of_the_data_is_not_cut_off() -> None:
    """A field among terraces with a building on it, in a model that has no heights under buildings: its water ends there, and over no end of
    the data."""
    away = np.maximum(np.abs(R - 79.5), np.abs(C - 79.5))
    field = np.where(away < 65, 125.0 + 0.004 * away, 129.0)
    hole = away < 15
    assert not beds(np.where(hole, np.nan, field)).any()
    opened = (np.abs(R - 79.5) < 15) & (C < 95)
    assert beds(np.where(opened, np.nan, field))[100:110].any(), (
        "a hole that is open to the outside is the end of the data"
    )
