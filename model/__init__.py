"""The model behind Storeypace: no page, no charts.

>>> from model import load_scenario, compare_methods
>>> comparison = compare_methods(load_scenario("scenarios/two_storey.toml"))  # doctest: +SKIP
"""

from model.inputs.reading import load_scenario
from model.pipeline import build_case, compare_methods

__all__ = ["build_case", "compare_methods", "load_scenario"]
