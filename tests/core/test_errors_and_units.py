"""What a wrong input says, and which units there are."""

from types import SimpleNamespace

import numba
import pytest

from model.core.compiled import compiled, lean
from model.core.errors import AssumptionError, ModelError, Problem, RangeError, ScenarioError, ScheduleError
from model.core.units import UNITS, bounds, is_money


def test_every_problem_is_listed_at_once():
    first = Problem("blocks[1] 'East'.storeys", "61", "1 to 60 storeys.", "Set 60 or fewer.")
    second = Problem("development.start", "2027-02-30", "A date.")
    error = ScenarioError([first, second])
    assert error.problems == (first, second)
    assert str(error).splitlines() == [
        "The scenario has 2 problems:",
        "  - blocks[1] 'East'.storeys: 61. 1 to 60 storeys. Set 60 or fewer.",
        "  - development.start: 2027-02-30. A date.",
    ]


def test_a_single_problem_is_one_problem():
    assert str(ScenarioError([Problem("a", "b", "c.")])).startswith("The scenario has 1 problem:")


def test_what_may_be_shown_to_a_user_is_one_family():
    for kind in (AssumptionError, RangeError, ScenarioError, ScheduleError):
        assert issubclass(kind, ModelError)
    assert not issubclass(ModelError, ValueError)


@pytest.mark.parametrize("unit", UNITS)
def test_every_unit_has_a_range(unit):
    least, greatest = bounds(unit)
    assert least < greatest
    assert is_money(unit) == unit.startswith("GBP")


def test_shares_lie_between_nothing_and_all():
    assert bounds("share") == (0.0, 1.0)


def test_a_unit_that_is_not_on_the_list_has_no_range():
    with pytest.raises(KeyError, match="furlong"):
        bounds("furlong")


def test_code_is_compiled_anew_where_nothing_may_be_written(monkeypatch):
    def refuses_a_cache(**options):
        if options.get("cache"):
            raise RuntimeError("cannot cache function: no locator available")
        return numba.njit(**options)

    monkeypatch.setattr("model.core.compiled.numba", SimpleNamespace(njit=refuses_a_cache))

    for how in (compiled, lean):

        @how
        def doubled(value: float) -> float:
            return 2.0 * value

        assert doubled(1.5) == 3.0
