"""Stage: how much of everything, where? `measure(...) -> TakeOff`."""

from model.quantities.takeoff import TakeOff, measure

__all__ = ["TakeOff", "measure"]
