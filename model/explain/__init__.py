"""Stage: what would another choice change? Slips, single changes that gain most, break-evens."""

from model.explain.breakeven import BreakEven, break_even, ready_break_evens
from model.explain.levers import Lever, Levers, best, try_levers
from model.explain.rerun import Change, rerun, rerun_together
from model.explain.slips import Slip, Slips, cost_of_slips

__all__ = [
    "BreakEven",
    "Change",
    "Lever",
    "Levers",
    "Slip",
    "Slips",
    "best",
    "break_even",
    "cost_of_slips",
    "ready_break_evens",
    "rerun",
    "rerun_together",
    "try_levers",
]
