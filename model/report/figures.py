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
from model.money import Account
from model.money.benchmarks import reconcile, spend_curve
from model.money.curves import curve_note


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
        ``single_changes``: the changes that bring the last handover forward most, with their price;
        ``value_of_a_week``: by block, and from twelve weeks sooner to twelve later; ``benchmarks``: the cost
        plan against published figures, and how the spend runs against published curves.
    """
    figures = comparison.as_json()
    parts = 2 * len(comparison.cases)
    for n, case in enumerate(comparison.cases):
        of_method = figures["methods"][case.method.id]
        of_method["value_of_a_week"] |= {
            "by_block": case.account.week_by_block.to_dict("records"),
            "curve": case.account.week_curve.to_dict("records"),
        }
        of_method["benchmarks"] = published(case.account)
        of_method["causes"]["slips"] = cost_of_slips(case).as_json()
        if progress is not None:
            progress(2 * n + 1, parts)
        of_method["single_changes"] = try_levers(case).as_json()
        if progress is not None:
            progress(2 * n + 2, parts)
    return figures


def published(account: Account) -> dict[str, Any]:
    """Return the cost plan and the spend of a method against published figures.

    Parameters
    ----------
    account : Account

    Returns
    -------
    dict
        ``figures``, each with ours, the range and where it lies; ``spend``, a sentence where the spend leaves
        the band about the published curves, else empty.
    """
    frame = reconcile(account)
    rows = frame.astype(object).where(frame.notna(), None).to_dict("records")
    return {"figures": rows, "spend": curve_note(spend_curve(account))}
