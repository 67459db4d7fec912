"""Strength of young concrete, striking and back-props, against printed and hand-worked figures."""

import csv
from pathlib import Path

import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from model.core.errors import RangeError
from model.physics.concrete import (
    Cement,
    Formwork,
    age_at_ratio,
    bs8110_days,
    characteristic_strength,
    levels_of_backprops,
    load_under_next_pour,
    mean_strength,
    service_load,
    strength_ratio,
    striking_load_ratio,
    striking_ratio,
)
from model.physics.maturity import equivalent_age


def published(name: str) -> list[dict[str, str]]:
    path = Path(__file__).parents[1] / "published" / f"{name}.csv"
    return list(csv.DictReader(path.read_text(encoding="utf-8").splitlines()))


def agrees(got: float, row: dict[str, str]) -> None:
    assert got == pytest.approx(float(row["expected"]), rel=0, abs=float(row["half_step"])), row["source"]


ages = st.floats(min_value=0.5, max_value=400)
cements = st.sampled_from([cement.s for cement in Cement])
loads = st.floats(min_value=0.1, max_value=20)


@pytest.mark.parametrize("row", published("concrete_strength"))
def test_strength_at_20_degrees_agrees(row):
    agrees(float(strength_ratio(float(row["age_days"]), float(row["s"]))), row)


@pytest.mark.parametrize("row", published("concrete_cold"))
def test_strength_at_other_temperatures_agrees(row):
    age = equivalent_age([float(row["temperature"])], [float(row["days"])])
    agrees(float(strength_ratio(age, float(row["s"]))), row)


@pytest.mark.parametrize("row", published("concrete_inverse"))
def test_age_for_a_strength_agrees(row):
    agrees(age_at_ratio(float(row["ratio"]), float(row["s"])), row)


@pytest.mark.parametrize("row", published("concrete_grades"))
def test_strength_of_grades_agrees(row):
    function = {"mean": mean_strength, "characteristic": characteristic_strength}[row["kind"]]
    agrees(function(float(row["fck"]), float(row["age_days"]), float(row["s"])), row)


@pytest.mark.parametrize("row", published("concrete_bs8110"))
def test_withdrawn_british_table_agrees(row):
    days = bs8110_days(Formwork[row["formwork"]], float(row["temperature"]))
    agrees(days * float(row["per_day"]), row)


@pytest.mark.parametrize("row", published("concrete_striking"))
def test_strength_needed_to_strike_agrees(row):
    ratio = striking_ratio(float(row["w_over_wser"]))
    agrees(ratio if row["what"] == "ratio" else age_at_ratio(ratio, float(row["s"])), row)


def test_cement_classes_carry_the_coefficients_of_the_standard():
    # EN 1992-1-1:2004, 3.1.2(6)
    assert (Cement.RAPID.s, Cement.NORMAL.s, Cement.SLOW.s) == (0.20, 0.25, 0.38)


def test_slab_of_225_mm_is_struck_at_three_quarters_of_its_load():
    # Hand calculation: (5.63 + 0.75) / (5.63 + 1.5 + 1.5) = 6.38 / 8.63 = 0.739
    assert service_load(5.63, 1.5, 1.5) == pytest.approx(8.63, abs=0.005)
    assert striking_load_ratio(5.63, 1.5, 1.5, 0.75) == pytest.approx(0.739, abs=0.0005)


def test_pour_above_overloads_a_slab_of_flats():
    # Hand calculation: 5.63 + 0.7 (5.63 + 0.5 + 1.5) = 10.97 against 8.63
    assert load_under_next_pour(5.63, 2.0, 0.70) == pytest.approx(10.97, abs=0.005)
    assert levels_of_backprops(5.63, 1.5, 1.5, 2.0, 0.70, 0.65) == 2


def test_heavy_duty_slab_needs_one_level():
    # Hand calculation: 5.63 + 0.7 x 7.63 = 10.97, against 5.63 + 1.5 + 5.0 = 12.13
    assert levels_of_backprops(5.63, 1.5, 5.0, 2.0, 0.70, 0.65) == 1


def test_one_level_holds_up_to_the_design_load_itself():
    # Hand calculation: 4 + 0.5 (4 + 2) = 7 = 4 + 1.5 + 1.5
    assert levels_of_backprops(4.0, 1.5, 1.5, 2.0, 0.5, 0.5) == 1
    assert levels_of_backprops(4.0, 1.5, 1.49, 2.0, 0.5, 0.5) == 2


@given(age=ages, later=st.floats(min_value=0.01, max_value=100), s=cements)
@settings(max_examples=50, deadline=None)
def test_older_concrete_is_stronger(age, later, s):
    assert strength_ratio(age + later, s) > strength_ratio(age, s)


@given(age=ages, s=cements)
@settings(max_examples=50, deadline=None)
def test_inverse_returns_the_age_it_was_given(age, s):
    assert age_at_ratio(float(strength_ratio(age, s)), s) == pytest.approx(age, rel=1e-6)


@given(ratio=st.floats(min_value=0.3, max_value=0.99))
@settings(max_examples=50, deadline=None)
def test_slower_cement_and_a_higher_criterion_wait_longer(ratio):
    assert age_at_ratio(ratio, 0.20) < age_at_ratio(ratio, 0.25) < age_at_ratio(ratio, 0.38)
    assert age_at_ratio(ratio + 0.01, 0.25) > age_at_ratio(ratio, 0.25)


@given(slab=loads, finishes=loads, imposed=loads, more=loads, share=st.floats(min_value=0, max_value=1))
@settings(max_examples=50, deadline=None)
def test_stronger_slab_never_needs_more_levels(slab, finishes, imposed, more, share):
    weak = levels_of_backprops(slab, finishes, imposed, 2.0, share, share)
    assert levels_of_backprops(slab, finishes, imposed + more, 2.0, share, share) <= weak


def test_age_zero_says_where_to_count_from():
    with pytest.raises(RangeError, match=r"above 0 days; got 0\. Count age from the end of the pour"):
        strength_ratio([0, 7], 0.25)


def test_nan_age_is_refused():
    with pytest.raises(RangeError, match=r"above 0 days; got nan"):
        strength_ratio(float("nan"), 0.25)


def test_cement_coefficient_of_zero_is_refused():
    with pytest.raises(RangeError, match=r"s must be above 0; got 0\. EN 1992-1-1, 3\.1\.2\(6\) gives 0\.20"):
        strength_ratio(7, 0)


@pytest.mark.parametrize("ratio", [0.0, -0.1, 1.29, float("nan")])
def test_strength_never_reached_is_refused(ratio):
    with pytest.raises(RangeError, match=r"above 0 and below exp\(s\) = 1\.284.*got .*Ask for 1\.00 or less"):
        age_at_ratio(ratio, 0.25)


def test_characteristic_strength_at_a_day_asks_for_cubes():
    with pytest.raises(RangeError, match=r"3 days or more; got 2\.9\. .*use test results"):
        characteristic_strength(32, 2.9, 0.25)


def test_characteristic_strength_that_is_all_margin_is_refused():
    with pytest.raises(
        RangeError, match=r"f_ck = 8 .*mean strength of 7\.3 N/mm2 at 3 days.*later age or a higher class"
    ):
        characteristic_strength(8, 3, 0.38)


def test_class_of_zero_is_refused():
    with pytest.raises(RangeError, match=r"strength class must be above 0 N/mm2; got 0\. C30/37"):
        mean_strength(0, 28, 0.25)


def test_characteristic_strength_stops_at_28_days():
    # EN 1992-1-1:2004, 3.1.2(5): f_ck(t) = f_ck for t >= 28
    assert characteristic_strength(32, 365, 0.25) == 32


@pytest.mark.parametrize("temperature", [-0.1, 25.1, float("nan")])
def test_british_table_outside_its_range_is_refused(temperature):
    with pytest.raises(RangeError, match=r"from 0 to 25 °C; got .*Use equivalent age"):
        bs8110_days(Formwork.SLAB_PROPS, temperature)


@pytest.mark.parametrize("ratio", [0.0, 1.01, float("nan")])
def test_striking_above_design_load_is_refused(ratio):
    with pytest.raises(RangeError, match=r"no more than 1; got .*leave it propped"):
        striking_ratio(ratio)


def test_share_above_one_is_refused():
    with pytest.raises(RangeError, match=r"must be 0 to 1; got 70\. Write 70 % as 0\.70"):
        load_under_next_pour(5.6, 2.0, 70)


def test_second_level_that_adds_load_is_refused():
    with pytest.raises(
        RangeError, match=r"keeps 0\.75 of a pour, more than the 0\.7 it keeps with one.*at or below"
    ):
        levels_of_backprops(5.6, 1.5, 1.5, 2.0, 0.70, 0.75)


@pytest.mark.parametrize("load", [-1.0, float("nan"), float("inf")])
def test_load_upwards_is_refused(load):
    with pytest.raises(RangeError, match=r"0 kN/m2 or more; got .*Give loads downwards"):
        service_load(load, 1.5, 1.5)
