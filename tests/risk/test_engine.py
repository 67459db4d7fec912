"""Draws of a whole comparison: repeatable, common to every method, the expected case where nothing varies.

Sources: the definition of a repeatable pseudo-random experiment (equal seeds, equal results); order of
percentiles; variance of a difference under common random numbers is smaller than under independent ones
(Law, Simulation Modeling and Analysis, ch. 11, from memory). Invented scenarios only.
"""

from __future__ import annotations

import datetime as dt
import json
from dataclasses import replace
from pathlib import Path

import numpy as np
import pytest

from model import compare_methods, load_scenario
from model.core.errors import RangeError
from model.inputs.scenario import ready_method
from model.risk.engine import case_of_draw, simulate

SCENARIOS = Path(__file__).parents[2] / "scenarios"
TODAY = dt.date(2026, 11, 25)
RUNS = 40


@pytest.fixture(scope="module")
def comparison():
    return compare_methods(load_scenario(SCENARIOS / "two_storey.toml", today=TODAY))


@pytest.fixture(scope="module")
def risk(comparison):
    return simulate(comparison, RUNS, 7)


def text(risk):
    return json.dumps(risk.as_json(), sort_keys=True, allow_nan=False)


@pytest.mark.parametrize(("chunk", "threads"), [(1, 1), (7, 2), (500, 2)])
def test_equal_seeds_give_equal_bytes_whatever_the_chunks_and_threads(comparison, risk, chunk, threads):
    assert text(simulate(comparison, RUNS, 7, chunk=chunk, threads=threads)) == text(risk)


def test_another_seed_gives_another_result(comparison, risk):
    assert text(simulate(comparison, RUNS, 8)) != text(risk)


def test_percentiles_stand_in_order_and_errors_are_not_negative(risk):
    told = risk.as_json()
    for method in told["methods"].values():
        for name in ("weeks_to_first_handover", "weeks_to_last_handover", "profit", "npv"):
            figures = method[name]
            assert figures["p10"] <= figures["p50"] <= figures["p80"] <= figures["p90"]
            assert min(figures["se_p50"], figures["se_p80"]) >= 0
    assert 0 <= told["difference"]["chance_later"] <= 1
    assert 0 <= told["difference"]["chance_dearer"] <= 1


def nothing_varies(scenario):
    """The same scenario with every factor at its likely value, no event and no spread."""
    records = scenario.values(scenario.methods[0]).library.records
    settings = dict(scenario.overrides)
    for key in records:
        if key.startswith("risk."):
            last = key.rsplit(".", 1)[-1]
            if last in ("low", "likely", "high"):
                settings[key] = (0.0 if ".interest." in key else 1.0, "Nothing varies.")
            elif last in ("chance", "spread"):
                settings[key] = (0.0, "Nothing varies.")
    return scenario.with_changes(overrides=settings)


def test_where_nothing_varies_every_draw_is_the_expected_case(comparison):
    still = compare_methods(nothing_varies(comparison.scenario))
    told = simulate(still, 10, 3, weather=False).as_json()
    for case in still.cases:
        figures = told["methods"][case.method.id]
        for name, wanted in (
            ("weeks_to_first_handover", case.weeks_to_first_handover),
            ("weeks_to_last_handover", case.weeks_to_last_handover),
        ):
            assert figures[name]["p10"] == pytest.approx(wanted, abs=1e-9)
            assert figures[name]["p90"] == pytest.approx(wanted, abs=1e-9)
        assert figures["profit"]["p50"] == pytest.approx(case.account.profit, rel=1e-4)
        assert figures["npv"]["p50"] == pytest.approx(case.account.npv, rel=1e-4)


def test_the_same_method_twice_differs_in_no_draw(comparison):
    scenario = comparison.scenario
    library = scenario.values(scenario.methods[0]).library
    one = ready_method("panelised", library)
    twice = scenario.with_changes(methods=(replace(one, id="a", label="A"), replace(one, id="b", label="B")))
    told = simulate(compare_methods(twice), 20, 5).as_json()["difference"]
    for name in ("weeks_to_first_handover", "weeks_to_last_handover", "profit"):
        assert told[name]["p10"] == told[name]["p90"] == 0.0


def test_a_draw_opens_as_a_full_case_with_its_own_dates_and_money(comparison, risk):
    run = risk.run_at("profit", 0.5)
    cases = case_of_draw(comparison, run, RUNS, 7)
    for method, case in enumerate(cases):
        assert case.weeks_to_last_handover == pytest.approx(
            float(risk.of(method, "weeks_to_last_handover")[run]), abs=1e-9
        )
        assert case.account.profit == pytest.approx(float(risk.of(method, "profit")[run]), abs=1.0)


def test_draws_shared_by_the_methods_make_the_difference_steadier(comparison, risk):
    """Variance of the difference with common draws, against one method's draws set beside other ones."""
    common = np.var(risk.difference("profit"))
    other = simulate(comparison, RUNS, 8)
    apart = np.var(other.of(1, "profit") - risk.of(0, "profit"))
    assert common < apart / 4


def test_parts_put_together_and_a_run_stopped_early_hold_the_same_draws(comparison, risk):
    stopped = simulate(comparison, RUNS, 7, stop=iter([False, False, True, True, True]).__next__)
    assert stopped.runs_done < RUNS
    assert not stopped.complete
    whole = simulate(comparison, 200, 7, part=range(100)).with_part(
        simulate(comparison, 200, 7, part=range(100, 200))
    )
    assert whole.complete
    assert text(whole) == text(simulate(comparison, 200, 7))


def test_too_few_draws_are_refused_in_words(comparison):
    with pytest.raises(RangeError, match=r"10"):
        simulate(comparison, 3, 1)
