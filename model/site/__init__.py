"""Stage: who and what is on site, day by day? `operate(plan) -> SiteUse`."""

from model.site.changes import TradesChanged, trades_changed
from model.site.operation import SiteUse, operate

__all__ = ["SiteUse", "TradesChanged", "operate", "trades_changed"]
