"""Money against printed and hand-worked figures, a source beside each."""

import csv
import datetime as dt
from pathlib import Path

import numpy as np
import numpy_financial as npf
import pytest
import pyxirr

from model.core.units import bounds
from model.inputs.assumption import read_library
from model.money.facility import half_rule_interest, run_facility
from model.money.receipts import value_at_yield
from model.money.returns import (
    discount_factor,
    irr_annual_effective,
    irr_roots,
    mirr,
    npv,
    npv_dated,
    profit_on_cost,
    profit_on_value,
)

FOLDER = Path(__file__).parents[1] / "published"


def published(name):
    with (FOLDER / f"{name}.csv").open(encoding="utf-8", newline="") as file:
        return [pytest.param(row, id=next(iter(row.values()))) for row in csv.DictReader(file)]


def numbers(text):
    return [float(part) for part in text.split(";") if part]


def yearly(rate_per_period):
    return (1 + rate_per_period) ** 12 - 1


@pytest.mark.parametrize("row", published("finance_npv"))
def test_present_value_agrees_with_the_printed_figure(row):
    rate, flows = float(row["rate"]), numbers(row["flows"])
    got = float(npv(flows, yearly(rate)))
    if row["first_discounted"] == "yes":
        got /= 1 + rate
        assert got == pytest.approx(pyxirr.npv(rate, flows, start_from_zero=False), abs=1e-9)
    assert got == pytest.approx(float(row["expected"]), rel=0, abs=float(row["half_step"])), row["source"]


@pytest.mark.parametrize("row", published("finance_irr"))
def test_every_rate_of_return_agrees_with_the_printed_figure(row):
    got = irr_roots(numbers(row["flows"]), float(row["low"]), float(row["high"]))
    expected = numbers(row["roots"])
    assert got == pytest.approx(expected, rel=0, abs=float(row["half_step"])), row["source"]
    if len(expected) == 1:
        assert got[0] == pytest.approx(npf.irr(numbers(row["flows"])), rel=0, abs=1e-10)
        assert got[0] == pytest.approx(pyxirr.irr(numbers(row["flows"]), guess=0.01), rel=0, abs=1e-9)


@pytest.mark.parametrize("row", published("finance_mirr"))
def test_modified_rate_agrees_with_the_printed_figure(row):
    flows, finance, reinvest = numbers(row["flows"]), float(row["finance"]), float(row["reinvest"])
    got = mirr(flows, finance, reinvest)
    assert got == pytest.approx(float(row["expected"]), rel=0, abs=float(row["half_step"])), row["source"]
    assert got == pytest.approx(pyxirr.mirr(flows, finance, reinvest), rel=0, abs=1e-12)


@pytest.mark.parametrize("row", published("finance_dated"))
def test_dated_flows_agree_with_the_printed_figure(row):
    dates = [dt.date.fromisoformat(text) for text in row["dates"].split(";")]
    days, amounts = [day.toordinal() for day in dates], numbers(row["amounts"])
    expected, half_step = float(row["expected"]), float(row["half_step"])
    if row["kind"] == "value":
        got = npv_dated(days, amounts, float(row["rate"]))
        assert got == pytest.approx(expected, rel=0, abs=half_step), row["source"]
        # The library values at the earliest date, which need not be named first.
        other = pyxirr.xnpv(float(row["rate"]), dates, amounts)
        assert got == pytest.approx(other, rel=1e-12)
    else:
        # The present value changes sign within half a step of the printed rate.
        low, high = (npv_dated(days, amounts, expected + side * half_step) for side in (-1, 1))
        assert low * high < 0, row["source"]


@pytest.mark.parametrize("row", published("finance_discount"))
def test_discount_factor_agrees_with_the_green_book_rate(row):
    got = float(discount_factor(0.035, 12 * int(row["year"])))
    assert got == pytest.approx(float(row["factor"]), rel=0, abs=float(row["half_step"])), row["source"]


# -- a facility to the penny --------------------------------------------------------------------


@pytest.fixture(scope="module")
def months():
    return [row.values[0] for row in published("finance_facility")]


@pytest.fixture(scope="module")
def facility(months):
    return run_facility(
        [float(row["costs"]) for row in months],
        [float(row["receipts"]) for row in months],
        equity=4e6,
        monthly_rate=0.09 / 12,
        arrangement_share=0.015,
        exit_share=0.01,
    )


@pytest.mark.parametrize("column", ["drawn_equity", "debt"])
def test_equity_and_balance_of_every_month_are_right_to_the_penny(facility, months, column):
    expected = [float(row[column]) for row in months]
    assert getattr(facility, column) == pytest.approx(expected, rel=0, abs=5e-3), months[0]["source"]


def test_totals_of_the_facility_are_right_to_the_penny(facility):
    # Hand calculation, as finance_facility.csv.
    profit = float(facility.equity_flows.sum())
    cost = 16e6 - profit
    for got, expected in [
        (facility.facility_size, 8_473_807.81),
        (facility.peak_debt, 8_473_807.81),
        (facility.fees_finance[0], 127_107.12),
        (facility.fees_finance[12], 84_738.08),
        (facility.interest_total, 346_700.69),
        (facility.interest[12], 63_080.46),
        (facility.equity_out[12], 7_441_454.12),
        (profit, 3_441_454.12),
        (cost, 12_558_545.88),
    ]:
        assert float(got) == pytest.approx(expected, rel=0, abs=5e-3)
    assert float(profit_on_cost(profit, cost)) == pytest.approx(0.274033, rel=0, abs=5e-7)
    assert float(profit_on_value(profit, 16e6)) == pytest.approx(0.215091, rel=0, abs=5e-7)
    assert facility.residual <= 1e-7
    assert facility.repays


def test_returns_of_the_facility_agree_with_the_hand_calculation(facility, months):
    # Hand calculation with 40 digits, as finance_facility.csv; equity, and the project without finance.
    project = np.array([float(row["receipts"]) - float(row["costs"]) for row in months])
    for flows, monthly, effective in [
        (facility.equity_flows, 0.056312564777, 0.92978687685),
        (project, 0.038452388755, 0.57267533691),
    ]:
        rate, reason = irr_annual_effective(flows)
        assert reason == ""
        assert rate == pytest.approx(effective, rel=0, abs=5e-12)
        assert irr_roots(flows) == pytest.approx([monthly], rel=0, abs=5e-13)
    assert 12 * irr_roots(facility.equity_flows)[0] == pytest.approx(0.6757507773, rel=0, abs=5e-11)
    assert float(npv(project, 0.10)) == pytest.approx(2_970_397.75, rel=0, abs=5e-3)


# -- the worth of four months, step by step -----------------------------------------------------

WEEKS_PER_MONTH = 52 / 12
FIRST_CASE = {
    "panels": 10e6,
    "early": 0.0,
    "prelims_end": 24,
    "crane_end": 24,
    "works_end": 24,
    "receipt_end": 24,
}


def priced(panels, early, prelims_end, crane_end, works_end, receipt_end):
    """Return cost, interest, profit and present value of a scheme on months 0 to 30."""
    costs, receipts = np.zeros(31), np.zeros(31)

    def pay(amount, first, last):
        costs[int(first) : int(last) + 1] += amount / (int(last) - int(first) + 1)

    pay(38e6, 1, works_end)
    pay(panels * (1 - early), 5, works_end - 3)
    pay(panels * early, 2, works_end - 6)
    pay(1.8e6, 1, 1)
    costs[1 : int(prelims_end) + 1] += 50_000 * WEEKS_PER_MONTH
    costs[3 : int(crane_end) - 1] += 12_000 * WEEKS_PER_MONTH
    receipts[int(receipt_end) + 1] = 80e6
    run = run_facility(costs, receipts, equity=0.0, monthly_rate=0.0075)
    assert run.repays
    profit = run.equity_flows.sum()
    worth = npv(receipts - costs, 0.10)
    return np.array([costs.sum(), run.interest_total, profit, worth], dtype=float)


def test_each_step_from_one_programme_to_the_other_is_right_to_the_penny():
    rows = [row.values[0] for row in published("finance_bridge")]
    case = dict(FIRST_CASE)
    before = priced(**case)
    printed = [[float(row[name]) for name in ("cost", "interest", "profit", "npv")] for row in rows]
    assert before == pytest.approx(printed[0], rel=0, abs=5e-3), rows[0]["source"]
    start = before
    for row, expected in zip(rows[1:-1], printed[1:-1], strict=True):
        name, value = row["changes"].split("=")
        case[name] = float(value)
        after = priced(**case)
        assert after - before == pytest.approx(expected, rel=0, abs=5e-3), row["step"]
        before = after
    assert before == pytest.approx(printed[-1], rel=0, abs=5e-3), rows[-1]["source"]
    # Weeks saved: four months of 52/12 weeks; hand calculation.
    gained = (before - start)[2] / (4 * WEEKS_PER_MONTH)
    assert gained == pytest.approx(42_115.40, rel=0, abs=5e-3)


# -- published appraisals -----------------------------------------------------------------------


def test_a_published_residual_appraisal_adds_up():
    # Property Development, ch. 3, example 3.3 (printed to the pound; 3,908 m2 at 322.92, building
    # 4,599 m2 at 1,421, fees 12.5 %, other 53,500, funding 200,000).
    rent = 3908 * 322.92
    gross = value_at_yield(rent, 0.07)
    assert gross == pytest.approx(18_028_162, rel=0, abs=0.5)
    net = gross * (1 - 0.0275)
    assert net == pytest.approx(17_532_388, rel=0, abs=0.5)
    base = 6_535_179 + 816_897 + 53_500 + 200_000
    build, void = half_rule_interest(base, 0.0825, 12, 12, periods_per_year=4)
    assert build == pytest.approx(323_570, rel=0, abs=0.5)
    assert void == pytest.approx(647_140, rel=0, abs=0.5)
    letting = 0.15 * rent + 95_000 + 0.015 * net
    cost = base + build + void + letting
    assert cost == pytest.approx(9_123_568, rel=0, abs=1.0)  # sum of rounded lines
    residue = net - cost * 1.2
    assert residue == pytest.approx(6_584_106, rel=0, abs=1.0)  # sum of rounded lines


def test_the_buyers_costs_on_top_of_the_price_cost_less_than_off_the_gross_value():
    gross = value_at_yield(1_261_971.36, 0.07)
    assert value_at_yield(1_261_971.36, 0.07, 0.0275) == pytest.approx(gross / 1.0275, rel=1e-12)
    assert value_at_yield(1_261_971.36, 0.07, 0.0275) > gross * (1 - 0.0275)


def test_shares_of_a_published_housing_appraisal_stand_in_the_library():
    # Planning-advisory training appraisal, 87 homes (printed sums).
    records = read_library().records
    construction = 7_645_125 + 435_000 + 191_128 + 250_000
    fees = 511_275 + 85_213 + 42_606 + 213_031
    value = 14_463_750 + 1_301_738 + 2_082_780
    assert records["money.fees_pct"].value == pytest.approx(100 * fees / construction, abs=0.05)
    land = 3_697_391
    duty = 100 * (184_870 + 55_461) / land
    assert records["money.stamp_duty_pct"].value == pytest.approx(duty, abs=0.05)
    selling = 100 * (356_965 + 89_241) / value
    assert records["money.selling_pct"].value == pytest.approx(selling, abs=0.05)
    assert records["money.contingency_pct"].low == pytest.approx(100 * 191_128 / 7_645_125, abs=0.05)
    assert 13_795_901 == 3_697_391 + 240_330 + 868_220 + 8_521_253 + 17_500 + 451_207


# -- the library --------------------------------------------------------------------------------


def test_money_records_lie_within_their_units():
    records = {key: r for key, r in read_library().records.items() if key.startswith("money.")}
    assert len(records) >= 25
    for key, record in records.items():
        least, greatest = bounds(record.unit)
        assert least <= record.low <= record.value <= record.high <= greatest, key


def test_deposit_and_stages_never_exceed_the_price_of_the_panels():
    records = read_library().records
    assert records["money.factory_deposit_pct"].high + records["money.factory_stage_pct"].high <= 100


@pytest.mark.parametrize(
    ("key", "low", "high"),
    [
        ("money.debt_rate_pct", 7, 12),  # published guide to development finance, 2025
        ("money.arrangement_pct", 1, 2),  # published guide to fees
        ("money.retention_pct", 3, 5),  # professional guidance on retention
        ("money.defects_months", 6, 12),  # professional guidance on retention
        ("money.payment_lag_days", 21, 28),  # JCT 2016 forms
        ("money.reservations_per_month", 6, 15),  # practice, towers
        ("money.notice_weeks", 2, 8),  # practice
        ("money.factory_deposit_pct", 10, 30),  # practice
    ],
)
def test_ranges_carry_over_from_their_sources(key, low, high):
    record = read_library().records[key]
    assert (record.low, record.high) == (low, high)
