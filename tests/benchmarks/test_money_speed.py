"""How long do ten thousand cash flows take? `pytest tests/benchmarks`; not part of the usual run.

Targets are the best of several rounds on two ordinary cores, by the clock, as the product of matrices
behind the rates of return runs on both. A machine shared with others is a quarter slower at its best:
that is the slack here; set ``STOREYPACE_SLACK`` for another (1 for none, 2 on a slow machine). The ratio
to numpy-financial needs none.
"""

from __future__ import annotations

import os
from time import perf_counter

import numpy as np
import numpy_financial as npf
import pytest

from model.money.facility import Mezzanine, run_facility
from model.money.returns import irr_many, npv

SLACK = float(os.environ.get("STOREYPACE_SLACK", "1.25"))

ROWS, MONTHS = 10_000, 120
TEN_THOUSAND_S = 1.5
SAMPLE = 150
FASTER = 5
"""Least number of times that facility, present value and rate of return together are faster than the rate of
return alone, row by row, by numpy-financial."""


@pytest.fixture(scope="module")
def developments():
    """Costs, receipts and equity of made-up schemes: land, a swelling spend, sales, a late retention."""
    source = np.random.default_rng(31)
    row, month = np.arange(ROWS)[:, np.newaxis], np.arange(MONTHS)
    land = source.uniform(3e6, 15e6, (ROWS, 1))
    works = source.uniform(20e6, 60e6, (ROWS, 1))
    build = source.integers(18, 61, (ROWS, 1))
    sales = source.integers(3, 25, (ROWS, 1))
    done = np.clip(np.arange(-1, MONTHS) / build, 0, 1)
    costs = 0.97 * works * np.diff(done**2 * (3 - 2 * done), axis=1)
    costs[:, :1] += land
    for after in (1, 13):
        costs[row, build + after] += 0.015 * works
    value = (land + works) * source.uniform(1.2, 1.5, (ROWS, 1))
    selling = (month > build) & (month <= build + sales)
    return costs, np.where(selling, value / sales, 0.0), 0.3 * (land + works)[:, 0]


def returns_of(costs, receipts, equity, mezzanine):
    """Return the financed flows of equity, their present values and their rates of return."""
    run = run_facility(
        costs,
        receipts,
        equity=equity,
        monthly_rate=0.09 / 12,
        arrangement_share=0.015,
        exit_share=0.01,
        non_utilisation_annual_share=0.01,
        mezzanine=mezzanine,
    )
    flows = run.equity_flows
    return flows, npv(flows, 0.10), irr_many(flows)


@pytest.mark.parametrize("layers", [1, 2], ids=["one loan", "two loans"])
def test_ten_thousand_cash_flows_of_ten_years(benchmark, developments, layers):
    costs, receipts, equity = developments
    mezzanine = Mezzanine(equity / 3, 0.012, 0.02, 0.01) if layers == 2 else None
    flows, values, rates = benchmark.pedantic(
        returns_of, (costs, receipts, equity, mezzanine), rounds=5, warmup_rounds=1
    )
    assert flows.shape == (ROWS, MONTHS)
    ends = MONTHS - 1 - (flows[:, ::-1] != 0).argmax(axis=1)
    assert np.mean(flows[np.arange(ROWS), ends] < 0) > 0.3  # retention after the last sale: a second root

    sample = np.linspace(0, ROWS - 1, SAMPLE).astype(int)
    begin = perf_counter()
    others = np.array([npf.irr(flow) for flow in flows[sample]])
    alone = (perf_counter() - begin) / SAMPLE * ROWS
    assert not rates.mask.any()
    assert np.asarray(rates[sample]) == pytest.approx((1 + others) ** 12 - 1, rel=0, abs=1e-9)
    monthly = 1.10 ** (1 / 12) - 1
    expected = [npf.npv(monthly, flow) for flow in flows[sample]]
    assert values[sample] == pytest.approx(expected, rel=1e-9)

    ours = benchmark.stats.stats.min
    benchmark.extra_info.update(target_ms=TEN_THOUSAND_S * 1000, numpy_financial_s=alone, ratio=alone / ours)
    print(
        f"\n{ours:.3f} s; rates of return by numpy-financial {alone:.1f} s, {alone / ours:.0f} times as long"
    )
    assert ours <= TEN_THOUSAND_S * SLACK
    assert alone >= FASTER * ours
