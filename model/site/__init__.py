"""Stage: who and what is on site, day by day? `operate(plan) -> SiteUse`."""

from model.site.operation import SiteUse, operate

__all__ = ["SiteUse", "operate"]
