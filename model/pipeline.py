"""The stages in order: the table of contents of the model.

measure -> schedule -> operate -> price -> contrast. All methods take this one path.
"""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import replace

from model.compare import Case, Comparison
from model.inputs.method import read_catalogue
from model.inputs.scenario import Method, Scenario
from model.money import common_grid, price
from model.programme import Plan, schedule
from model.quantities import measure
from model.site import operate


def plan_method(scenario: Scenario, method: Method) -> Plan:
    """Measure and schedule one method.

    Parameters
    ----------
    scenario : Scenario
    method : Method

    Returns
    -------
    Plan
    """
    values = scenario.values(method)
    options = read_catalogue().options
    panels = tuple(kind for choice in method.options for kind in options[choice].panels)
    return schedule(scenario, method, values, measure(scenario, values, panels))


def build_cases(scenario: Scenario, methods: Sequence[Method]) -> tuple[Case, ...]:
    """Work several methods through every stage, over one common horizon of money.

    Parameters
    ----------
    scenario : Scenario
    methods : sequence of Method

    Returns
    -------
    tuple of Case
    """
    plans = [plan_method(scenario, method) for method in methods]
    grid = common_grid(plans)
    cases = []
    for plan in plans:
        site = operate(plan)
        cases.append(Case(plan.method, plan.takeoff, plan, site, price(plan, site, grid)))
    return tuple(cases)


def build_case(scenario: Scenario, method: Method) -> Case:
    """Work one method of a scenario through every stage.

    Parameters
    ----------
    scenario : Scenario
    method : Method
        One of the scenario's methods, or any other choice of options.

    Returns
    -------
    Case

    Raises
    ------
    ModelError
        If the programme cannot be worked out; the message may be shown to the user.
    """
    return build_cases(scenario, [method])[0]


def walls_of(first: Method, second: Method) -> Method:
    """Return the first method with the wall elements of the second, and nothing else of it.

    Parameters
    ----------
    first, second : Method

    Returns
    -------
    Method
    """
    catalogue = read_catalogue()
    own, wanted = dict(first.options), dict(second.options)
    own |= {element: wanted[element] for element in catalogue.wall_elements}
    for element, name in own.items():  # a finish that only its own wall can carry comes with the wall
        needs = catalogue.options[element, name].goes_with
        if any(own[other] not in allowed for other, allowed in needs):
            own[element] = wanted[element]
    return replace(first, id=f"{first.id} with walls of {second.id}", options=tuple(own.items()))


def compare_methods(scenario: Scenario) -> Comparison:
    """Compare the methods of a scenario.

    Parameters
    ----------
    scenario : Scenario

    Returns
    -------
    Comparison
        Differences are the second method against the first, the walls' own part beside them.

    Raises
    ------
    ModelError
        If a programme cannot be worked out; the message may be shown to the user.
    """
    walls = walls_of(scenario.methods[0], scenario.methods[1])
    *cases, walls_case = build_cases(scenario, [*scenario.methods, walls])
    return Comparison(scenario, tuple(cases), walls_case, scenario.warnings)
