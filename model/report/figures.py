"""All figures of a comparison, what came of re-running it among them.

The comparison itself runs nothing twice; here the slips of each trade and the single changes that gain most
are put beside each method, as the command line prints them.
"""

from __future__ import annotations

from collections.abc import Callable
from typing import Any

from model.compare import Comparison
from model.explain.levers import try_levers
from model.explain.slips import cost_of_slips


def comparison_figures(
    comparison: Comparison, progress: Callable[[int, int], None] | None = None
) -> dict[str, Any]:
    """Return the comparison as JSON, with slips and single changes of each method.

    Parameters
    ----------
    comparison : Comparison
    progress : callable, optional
        Told how many of how many parts are done.

    Returns
    -------
    dict
        `Comparison.as_json`; in each method ``causes.slips``: what a week's slip of each trade costs; and
        ``single_changes``: the changes that bring the last handover forward most, with their price.
    """
    figures = comparison.as_json()
    parts = 2 * len(comparison.cases)
    for n, case in enumerate(comparison.cases):
        of_method = figures["methods"][case.method.id]
        of_method["causes"]["slips"] = cost_of_slips(case).as_json()
        if progress is not None:
            progress(2 * n + 1, parts)
        of_method["single_changes"] = try_levers(case).as_json()
        if progress is not None:
            progress(2 * n + 2, parts)
    return figures
