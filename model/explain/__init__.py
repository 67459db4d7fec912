"""Stage: what would another choice change? Costs of a slip, and the single changes that gain most."""

from model.explain.levers import Lever, Levers, best, try_levers
from model.explain.rerun import Change, rerun
from model.explain.slips import Slip, Slips, cost_of_slips

__all__ = ["Change", "Lever", "Levers", "Slip", "Slips", "best", "cost_of_slips", "rerun", "try_levers"]
