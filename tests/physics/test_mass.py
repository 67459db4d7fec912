"""Mass of walls and panels against hand-worked sums."""

import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from model.core.errors import RangeError
from model.physics.mass import (
    GLASS_KG_M3,
    build_up_mass,
    gross_areal_mass,
    hook_load_t,
    layer_mass,
    panel_mass_t,
)

masses = st.floats(min_value=0, max_value=600)


def test_glass_weighs_two_and_a_half_kilograms_a_millimetre():
    # EN 572-1: 2,500 kg/m3
    assert layer_mass(1, GLASS_KG_M3) == pytest.approx(2.5)


def test_wall_with_windows_and_its_hook_load():
    # Hand calculation: 0.7 x 100 + 0.3 x 47 = 84.1 kg/m2
    # 7.2 x 2.9 m -> 1.76 t; with 5 % more 1.84 t; with a beam of 0.3 t 2.1 t on the hook
    areal = gross_areal_mass(100, 47, 0.30)
    assert areal == pytest.approx(84.1, abs=0.05)
    assert panel_mass_t(7.2 * 2.9, areal) == pytest.approx(1.76, abs=0.005)
    panel = panel_mass_t(7.2 * 2.9, areal, 0.05)
    assert panel == pytest.approx(1.84, abs=0.005)
    assert hook_load_t(panel, 0.3) == pytest.approx(2.1, abs=0.05)


def test_partition_with_two_boards_a_side():
    # Hand calculation: 4 boards at 8 + stud 5 = 37 kg/m2 at least; usual 4 x 9.25 + 7 = 44
    assert build_up_mass([8, 8, 5, 8, 8]) == pytest.approx(37)
    assert build_up_mass([9.25] * 4 + [7]) == pytest.approx(44)


def test_nothing_weighs_nothing():
    assert build_up_mass([]) == 0


@given(opaque=masses, glazed=masses, share=st.floats(min_value=0, max_value=1))
@settings(max_examples=50, deadline=None)
def test_gross_mass_lies_between_wall_and_window(opaque, glazed, share):
    gross = gross_areal_mass(opaque, glazed, share)
    assert min(opaque, glazed) - 1e-9 <= gross <= max(opaque, glazed) + 1e-9


def test_glazed_percent_is_refused():
    with pytest.raises(RangeError, match=r"must be 0 to 1; got 30\. Write 30 % as 0\.30"):
        gross_areal_mass(100, 47, 30)


@pytest.mark.parametrize(
    ("call", "name"),
    [
        (lambda: layer_mass(-1, 2000), "thickness"),
        (lambda: layer_mass(10, -1), "density"),
        (lambda: build_up_mass([10, -1]), "areal mass of a layer"),
        (lambda: gross_areal_mass(-1, 47, 0.3), "areal mass of the solid wall"),
        (lambda: gross_areal_mass(100, -1, 0.3), "areal mass of the windows"),
        (lambda: panel_mass_t(-1, 84), "area of a panel"),
        (lambda: panel_mass_t(20, -1), "areal mass of a panel"),
        (lambda: panel_mass_t(20, 84, -1), "addition for bracing and moisture"),
        (lambda: hook_load_t(-1, 0.3), "mass of a panel"),
        (lambda: hook_load_t(2, -1), "mass of the lifting beam"),
    ],
)
def test_negative_mass_is_refused(call, name):
    with pytest.raises(RangeError, match=rf"The {name} must be 0 or more; got -1\. Leave out"):
        call()
