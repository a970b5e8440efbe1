"""What crowns pass: defaults, columns, groups of kinds, and what is refused."""

import numpy as np
import pytest
from hypothesis import given
from hypothesis import strategies as st

from tests.scan.grounds import features
from tunnelsite.core.crowns import BARE_TRANSMISSION, Crowns, crown_kinds
from tunnelsite.core.errors import InputRefused
from tunnelsite.sun.season import BareTrees, bare_trees, monthly_transmission


def trees(**columns):
    import shapely

    count = len(next(iter(columns.values())))
    return features([shapely.Point(k, 0) for k in range(count)], name="trees", **columns)


def test_bare_trees_pass_what_was_measured():
    """A bare sugar maple cuts nearly 40 % [@heisler-1986], three kinds 30 to 34 % [@heisler-1985]; `passes`, not `cuts`."""
    assert 0.5 <= BARE_TRANSMISSION <= 0.70
    assert bare_trees(43.0).period == ((11, 1), (4, 15)) and bare_trees(-43.0).period == (
        (5, 1),
        (10, 15),
    )  # [@bare-months]
    january = monthly_transmission(Crowns(0.0, BARE_TRANSMISSION), bare_trees(43.0))[0]
    assert january == pytest.approx(0.58)


def test_defaults_by_kind():
    found = crown_kinds(trees(kind=["deciduous", "evergreen", None, " Deciduous ", "barn"]))
    assert found.kinds == (Crowns(0.0, BARE_TRANSMISSION),)
    assert found.of_obstacle.tolist() == [1, 0, 0, 1, 0]
    assert crown_kinds(None).kinds == crown_kinds(trees(height_m=[3])).kinds == ()


def test_columns_go_before_the_default():
    found = crown_kinds(
        trees(
            kind=["deciduous", "deciduous", "evergreen", "evergreen"],
            transmission_leaf_on=[0.1, None, 0.05, float("nan")],
            TRANSMISSION_LEAF_OFF=[0.7, "0.5", "", None],
        )
    )
    assert found.kinds == (Crowns(0.0, 0.05), Crowns(0.0, 0.5), Crowns(0.1, 0.7)) or found.kinds[0].bare == 0.05
    assert found.of_obstacle.tolist() == [3, 2, 1, 0]
    assert found.kinds[2] == Crowns(0.1, 0.7)


@given(st.lists(st.tuples(st.floats(0, 1), st.floats(0, 1)), min_size=1, max_size=12))
def test_kinds_are_ordered_and_never_pass_more_than_given(pairs):
    found = crown_kinds(trees(transmission_leaf_on=[a for a, _ in pairs], transmission_leaf_off=[b for _, b in pairs]))
    assert len(found.kinds) <= 3
    for name in ("in_leaf", "bare"):
        values = [getattr(kind, name) for kind in found.kinds]
        assert values == sorted(values)
    for (on, off), k in zip(pairs, found.of_obstacle, strict=True):
        assert (k == 0) == (max(on, off) == 0)
        if k:
            assert found.kinds[k - 1].in_leaf <= on and found.kinds[k - 1].bare <= off
    if len({pair for pair in pairs if max(pair) > 0}) > 3:
        assert found.notes


@pytest.mark.parametrize("wrong", [1.2, -0.1, "thin", 58])
def test_a_share_that_is_none_is_refused(wrong):
    with pytest.raises(InputRefused, match="feature 2"):
        crown_kinds(trees(transmission_leaf_off=[0.5, wrong]))


def test_months_by_hemisphere_and_by_days():
    kind = Crowns(0.1, 0.6)
    north = monthly_transmission(kind, bare_trees(44.0))
    south = monthly_transmission(kind, bare_trees(-38.0))
    assert north[[0, 1, 2, 10, 11]] == pytest.approx(0.6) and north[[4, 5, 6, 7, 8, 9]] == pytest.approx(0.1)
    assert north[3] == pytest.approx(0.35)  # bare to 15 April
    assert south[[4, 5, 6, 7, 8]] == pytest.approx(0.6) and south[[0, 1, 2, 3, 10, 11]] == pytest.approx(0.1)
    assert (monthly_transmission(kind, None) == 0.1).all()
    assert monthly_transmission(kind, BareTrees(((1, 1), (12, 31)))) == pytest.approx(np.full(12, 0.6))
