"""How long does an explanation take? `pytest tests/benchmarks`; not part of the usual run.

Best of a few rounds on two ordinary cores, compiled and once warmed. A machine shared with others is a
quarter slower at its best: that is the slack; set ``STOREYPACE_SLACK`` for another.
"""

from __future__ import annotations

import datetime as dt
import os
from dataclasses import replace
from pathlib import Path
from time import process_time

import pytest

from model import compare_methods, load_scenario
from model.explain.credit import explain
from model.explain.differences import differences

SCENARIOS = Path(__file__).parents[2] / "scenarios"
TODAY = dt.date(2026, 11, 25)
SLACK = float(os.environ.get("STOREYPACE_SLACK", "1.25"))

EXPLAIN_S = {4: 2.0, 6: 8.0}
"""By elements that differ, on the large scenario."""

DIFFERENCES_S = 1.0
"""What the effects add to the audit pack of the large scenario."""

alone = pytest.mark.benchmark(timer=process_time)


@pytest.fixture(scope="module")
def large():
    return load_scenario(SCENARIOS / "large.toml", today=TODAY)


def within(benchmark, target_s):
    benchmark.extra_info["target_s"] = target_s
    assert benchmark.stats.stats.min <= target_s * SLACK


@alone
@pytest.mark.parametrize("elements", EXPLAIN_S)
def test_credit_of_every_element_of_the_large_scheme(benchmark, large, elements):
    first, second = large.methods
    more = {"core": "climbing", "bathrooms": "pods"} if elements == 6 else {}
    options = tuple((element, more.get(element, option)) for element, option in second.options)
    second = replace(second, options=options)
    found = benchmark.pedantic(explain, (large, first, second), rounds=3, warmup_rounds=1)
    assert len(found.players) == elements
    within(benchmark, EXPLAIN_S[elements])


@alone
def test_effects_of_differences_in_the_audit_pack(benchmark, large):
    comparison = compare_methods(large)
    found = benchmark.pedantic(differences, (comparison,), rounds=3, warmup_rounds=1)
    assert found["effect_profit"].notna().sum() == 4
    within(benchmark, DIFFERENCES_S)
