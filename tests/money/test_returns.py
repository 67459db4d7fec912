"""Present values and rates of return, one row and many."""

import numpy as np
import numpy_financial as npf
import pytest
import pyxirr
from hypothesis import given, settings
from hypothesis import strategies as st

from model.core.errors import RangeError
from model.money.returns import (
    annual,
    discount_factor,
    effective_rate,
    irr_annual_effective,
    irr_many,
    irr_roots,
    mirr,
    monthly_hurdle,
    nominal_rate,
    npv,
    npv_dated,
    peak,
    profit_on_cost,
    profit_on_value,
)


def with_late_retention(last):
    """Return flows whose retention, paid twelve months after the sales, makes a second root."""
    flows = np.zeros(40)
    flows[0], flows[1:19], flows[19], flows[20:24], flows[31] = -10, -1.5, -0.3, 9.6, last
    return flows


def developments(rows):
    """Return monthly flows of made-up developments: land, a swelling spend, sales, late retention."""
    source = np.random.default_rng(11)
    flows = np.zeros((rows, 72))
    for flow in flows:
        build = int(source.integers(12, 30))
        works = np.sin(np.pi * (np.arange(build) + 0.5) / build)
        spend = -works / works.sum() * source.uniform(20, 60)
        flow[0] -= source.uniform(3, 15)
        flow[1 : build + 1] += 0.97 * spend
        cost = -flow.sum() - 0.03 * spend.sum()
        sales = int(source.integers(1, 16))
        flow[build + 2 : build + 2 + sales] += cost * source.uniform(1.02, 1.35) / sales
        flow[build + 1] += 0.015 * spend.sum()
        flow[build + 13] += 0.015 * spend.sum()
    return flows


@pytest.mark.parametrize(
    ("last", "monthly", "half_step"),
    # The first is printed to 14 decimals; a solver in doubles is good for 13.
    [(-0.4, 0.00129244963909, 1e-13), (-2.0, -0.00175418084, 5e-12)],
)
def test_a_late_retention_does_not_mislead(last, monthly, half_step):
    # Roots of the polynomial by companion matrix and by bisection agree (hand calculation).
    flows = with_late_retention(last)
    rate, reason = irr_annual_effective(flows)
    assert reason == ""
    assert (1 + rate) ** (1 / 12) - 1 == pytest.approx(monthly, rel=0, abs=half_step)
    assert npf.irr(flows) == pytest.approx(monthly, rel=0, abs=half_step)
    assert pyxirr.irr(flows, guess=0.01) == pytest.approx(monthly, rel=0, abs=5e-12)


def test_the_second_root_of_a_late_retention_lies_outside_the_range_searched():
    # Hand calculation: -0.38991908 and -0.26802693 a month.
    for last, roots in [(-0.4, [-0.38991908, 0.00129245]), (-2.0, [-0.26802693, -0.00175418])]:
        flows = with_late_retention(last)
        assert irr_roots(flows, -0.5, 0.2) == pytest.approx(roots, rel=0, abs=5e-9)
        assert len(irr_roots(flows)) == 1


def test_a_solver_left_to_its_own_guess_ends_at_the_second_root_of_some_developments():
    misled = [flow for flow in developments(120) if pyxirr.irr(flow) < -0.2]
    assert misled
    for flow in misled:
        rate, _ = irr_annual_effective(flow)
        assert rate == pytest.approx(annual(npf.irr(flow)), rel=0, abs=1e-9)
        assert rate > -0.2


def test_many_developments_agree_with_two_libraries():
    flows = developments(120)
    found = irr_many(flows)
    assert not found.mask.any()
    monthly = (1 + np.asarray(found)) ** (1 / 12) - 1
    for row, flow in enumerate(flows):
        assert monthly[row] == pytest.approx(npf.irr(flow), rel=0, abs=1e-9)
        assert monthly[row] == pytest.approx(pyxirr.irr(flow, guess=0.01), rel=0, abs=1e-9)


def test_many_rows_mask_exactly_those_for_which_one_alone_gives_a_reason():
    flows = np.zeros((6, 12))
    flows[0, [0, 11]] = -100, 120
    flows[1, [0, 1, 2]] = -1000, 2300, -1320
    flows[2, 0] = -100
    flows[4, [0, 1, 2]] = 1000, -3000, 2500
    flows[5, [0, 1]] = -100, 150
    found = irr_many(flows.reshape(2, 3, 12))
    assert found.shape == (2, 3)
    assert found.mask.ravel().tolist() == [False, True, True, True, True, True]
    for row, flow in enumerate(flows):
        assert (irr_annual_effective(flow)[0] is None) == found.mask.ravel()[row]
    assert found[0, 0] == pytest.approx(1.2 ** (12 / 11) - 1, abs=1e-12)


@pytest.mark.parametrize(
    ("flows", "message"),
    [
        ([-1.0, -2.0, -3.0], "the flows are payments throughout"),
        ([1.0, 2.0], "the flows are receipts throughout"),
        ([0.0, 0.0], "the flows are nothing throughout"),
        ([-100.0, 150.0], "no rate of return between -5% and 20% a month"),
        ([-1000.0, 2300.0, -1320.0], "2 rates of return, 213.84%, 791.61% a year"),
    ],
)
def test_no_single_rate_gives_its_reason(flows, message):
    rate, reason = irr_annual_effective(flows)
    assert rate is None
    assert message in reason


def test_a_nearer_root_outside_the_range_does_not_displace_the_one_found():
    # Roots -6 % and 19 % a month: (1 + i) solves (x - 0.94)(x - 1.19) = 0.
    rate, _ = irr_annual_effective([-1.0, 0.94 + 1.19, -0.94 * 1.19])
    assert rate == pytest.approx(1.19**12 - 1, abs=1e-9)


@settings(max_examples=60, deadline=None)
@given(
    land=st.floats(min_value=1, max_value=100),
    spend=st.lists(st.floats(min_value=0, max_value=10), min_size=5, max_size=20),
    sales=st.lists(st.floats(min_value=5, max_value=40), min_size=3, max_size=20),
    factor=st.floats(min_value=1e-3, max_value=1e6),
)
def test_the_worth_at_the_rate_of_return_is_nothing_and_scaling_does_not_move_it(land, spend, sales, factor):
    flows = np.array([-land, *[-x for x in spend], *sales])
    rate, _ = irr_annual_effective(flows)
    if rate is None:
        assert irr_roots(flows) == ()
        return
    gross = np.abs(flows).sum()
    assert float(npv(flows, rate)) == pytest.approx(0, abs=1e-9 * gross)
    assert irr_annual_effective(flows * factor)[0] == pytest.approx(rate, abs=1e-9)


@settings(max_examples=60, deadline=None)
@given(
    flows=st.lists(st.floats(min_value=-1e6, max_value=1e6), min_size=2, max_size=60),
    rate=st.floats(min_value=-0.5, max_value=0.6),
)
def test_present_value_agrees_with_two_libraries(flows, rate):
    monthly = float(monthly_hurdle(rate))
    size = float(np.abs(flows).sum() + 1) * max(1.0, (1 + monthly) ** -60)
    assert float(npv(flows, rate)) == pytest.approx(npf.npv(monthly, flows), abs=1e-11 * size)
    assert float(npv(flows, rate)) == pytest.approx(pyxirr.npv(monthly, flows), abs=1e-11 * size)


def test_many_rows_are_valued_as_each_alone():
    flows = developments(20)
    hurdles = np.linspace(0.0, 0.2, 20)
    assert npv(flows, 0.1) == pytest.approx([float(npv(flow, 0.1)) for flow in flows], abs=1e-9)
    each = [float(npv(flow, hurdle)) for flow, hurdle in zip(flows, hurdles, strict=True)]
    assert npv(flows, hurdles) == pytest.approx(each, abs=1e-9)
    assert npv(flows.reshape(4, 5, 72), hurdles.reshape(4, 5)).shape == (4, 5)


def test_one_row_at_many_rates_is_valued_at_each():
    flow = developments(1)[0]
    rates = [0.0, 0.05, 0.1]
    assert npv(flow, rates) == pytest.approx([float(npv(flow, rate)) for rate in rates], abs=1e-9)


@given(rate=st.floats(min_value=-0.5, max_value=1.0), periods=st.sampled_from([1, 2, 4, 12, 365]))
def test_effective_and_nominal_are_inverses(rate, periods):
    assert nominal_rate(effective_rate(rate, periods), periods) == pytest.approx(rate, abs=1e-10)


def test_effective_and_nominal_agree_with_the_printed_figures():
    # Tests of an open spreadsheet engine, EFFECT and NOMINAL (printed).
    assert effective_rate(0.1, 4) == pytest.approx(0.103812890625, rel=0, abs=5e-13)
    assert effective_rate(0.025, 2) == pytest.approx(0.02515625, rel=0, abs=5e-9)
    assert nominal_rate(0.025, 12) == pytest.approx(0.0247180352381129, rel=0, abs=1e-15)


@given(rate=st.floats(min_value=-0.5, max_value=1.0))
def test_a_hurdle_compounds_back_to_the_year(rate):
    assert annual(float(monthly_hurdle(rate))) == pytest.approx(rate, abs=1e-12)
    assert float(discount_factor(rate, 12)) == pytest.approx(1 / (1 + rate), rel=1e-12)


def test_profit_ratios_and_peak():
    # Hand calculation.
    assert profit_on_cost([10.0, 30.0], [100.0, 120.0]).tolist() == [0.1, 0.25]
    assert float(profit_on_value(20.0, 80.0)) == 0.25
    assert peak([[0.0, 4.0, 2.0], [-1.0, -2.0, -3.0]]).tolist() == [4.0, 0.0]


@pytest.mark.parametrize(
    ("call", "message"),
    [
        (lambda: npv([1.0, np.nan], 0.1), "finite number"),
        (lambda: npv([], 0.1), "at least one month"),
        (lambda: npv([1.0, 2.0], -1.0), "above -1.*got -1.*ten per cent as 0.10"),
        (lambda: monthly_hurdle(np.nan), "above -1"),
        (lambda: irr_roots([[1.0, -2.0]]), r"One row.*shape \(1, 2\).*irr_many"),
        (lambda: irr_roots([1.0, -2.0], 0.2, 0.1), "lower rate to a higher; got 0.2 to 0.1"),
        (lambda: irr_many([[1.0, np.inf]]), "finite number"),
        (lambda: mirr([1.0, 2.0], 0.1, 0.1), "needs a payment and a receipt"),
        (lambda: mirr([-1.0, 2.0], -1.5, 0.1), "above -1"),
        (lambda: npv_dated([0.0], [1.0, 2.0], 0.1), "1 days for 2 flows"),
        (lambda: effective_rate(0.1, 0), "at least once a year; got 0"),
        (lambda: profit_on_cost(1.0, 0.0), "Cost must be above 0.*got 0"),
        (lambda: profit_on_value(1.0, -3.0), "Development value must be above 0.*got -3"),
        (lambda: peak([]), "at least one month"),
    ],
)
def test_figures_out_of_range_say_what_is_allowed(call, message):
    with pytest.raises(RangeError, match=message):
        call()
