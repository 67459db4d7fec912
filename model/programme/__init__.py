"""Stage: when is everything done? `schedule(...) -> Plan`."""

from model.programme.plan import Plan, schedule

__all__ = ["Plan", "schedule"]
