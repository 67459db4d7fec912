"""Plates, separating walls and panels by hand, and what must hold for any of them."""

import numpy as np
import pytest
from hypothesis import given
from hypothesis import strategies as st

from model.core.errors import RangeError
from model.quantities.geometry import longest_panel, panel_count, perimeter, plate_length, separating_length

areas = st.floats(min_value=20, max_value=5000)
depths = st.floats(min_value=5, max_value=60)


def test_the_plate_of_nine_flats():
    # Hand calculation: 855 m2 at 16.2 m is 52.78 m long, 137.96 m round.
    assert float(plate_length(np.array([855.0]), 16.2)[0]) == pytest.approx(52.78, abs=5e-3)
    assert float(perimeter(np.array([855.0]), 16.2)[0]) == pytest.approx(137.96, abs=5e-3)


def test_a_plate_is_never_deeper_than_it_is_long():
    # Hand calculation: 100 m2 cannot be 16.2 m deep and longer; it is taken square, 40 m round.
    assert float(plate_length(np.array([100.0]), 16.2)[0]) == 10.0
    assert float(perimeter(np.array([100.0]), 16.2)[0]) == 40.0


@pytest.mark.parametrize(("area", "depth"), [(0.0, 16.2), (-1.0, 16.2), (855.0, 0.0)])
def test_a_plate_without_area_or_depth_is_refused(area, depth):
    with pytest.raises(RangeError, match=r"area and a depth above 0.*Give both in the block"):
        plate_length(np.array([area]), depth)


@given(area=areas, depth=depths)
def test_no_plate_has_less_wall_than_a_square(area, depth):
    assert float(perimeter(np.array([area]), depth)[0]) >= 4 * area**0.5 - 1e-9


def test_separating_walls_of_nine_flats():
    # Hand calculation: corridor both sides 2 x 52.8, seven cross walls of 7.35 m, one core lined 20 m.
    got = separating_length(np.array([9.0]), np.array([52.8]), np.array([16.2]), 1.5, 1, 20.0)
    assert float(got[0]) == pytest.approx(105.6 + 7 * 7.35 + 20, abs=1e-9)


def test_two_flats_either_side_of_a_corridor_share_no_cross_wall():
    got = separating_length(np.array([2.0]), np.array([12.0]), np.array([16.2]), 1.5, 1, 0.0)
    assert float(got[0]) == 24.0


@pytest.mark.parametrize(
    ("length", "longest", "expected"), [(13.8, 4.6, 3), (13.81, 4.6, 4), (4.6, 4.6, 1), (0.0, 4.6, 0)]
)
def test_a_wall_is_cut_into_as_few_panels_as_its_joints_allow(length, longest, expected):
    assert panel_count(np.array([length]), longest).tolist() == [expected]


@given(length=st.floats(min_value=0.1, max_value=500), longest=st.floats(min_value=0.5, max_value=13))
def test_panels_cover_the_wall_and_not_a_panel_more(length, longest):
    count = float(panel_count(np.array([length]), longest)[0])
    assert count * longest >= length - 1e-6
    assert (count - 1) * longest < length


@pytest.mark.parametrize(
    ("joint", "lorry", "heaviest", "expected"),
    [(4.6, 13.0, 3.0, 4.6), (9.0, 8.0, 9.0, 8.0), (9.0, 13.0, 1.0, 1000 / (84 * 3.0))],
)
def test_the_least_of_joint_lorry_and_crane_cuts_a_panel(joint, lorry, heaviest, expected):
    assert longest_panel(joint, lorry, heaviest, 84.0, 3.0) == pytest.approx(expected, abs=1e-9)


@given(mass=st.floats(min_value=20, max_value=600), more=st.floats(min_value=1.0, max_value=4.0))
def test_a_heavier_wall_never_has_longer_panels(mass, more):
    light, heavy = (longest_panel(4.6, 13.0, 3.0, m, 3.0) for m in (mass, mass * more))
    assert heavy <= light
