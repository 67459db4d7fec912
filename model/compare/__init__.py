"""Finished cases contrasted: `Case`, `Comparison`, and the way from one account to another."""

from model.compare.case import Case
from model.compare.contrast import Comparison, WallsOnly
from model.compare.money_bridge import MoneyBridge, money_bridge

__all__ = ["Case", "Comparison", "MoneyBridge", "WallsOnly", "money_bridge"]
