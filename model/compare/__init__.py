"""Finished cases contrasted: `Case`, `Comparison`."""

from model.compare.case import Case
from model.compare.contrast import Comparison, WallsOnly

__all__ = ["Case", "Comparison", "WallsOnly"]
