"""What is a week worth, to whom, and why?

Every handover, and every site cost that runs to it, is moved by some days; the measured work, the loans
agreed and their fees stay. The change of profit is told by cause, and split between client and builder: the
builder saves site costs and passes a share of them on. Damages for a late handover are set from the
client's lost rent or interest: the same money seen from the other side, never added to it.
"""

from __future__ import annotations

from dataclasses import dataclass
from typing import TYPE_CHECKING, Final

import numpy as np
import pandas as pd
from numpy.typing import NDArray

from model.money.returns import npv

if TYPE_CHECKING:
    from model.money.account import Cash

Floats = NDArray[np.float64]

CAUSES: Final = ("interest", "preliminaries", "plant", "receipts", "premium")

CURVE_WEEKS: Final = tuple(range(-12, 13))
"""Handover moved by these weeks; negative is sooner."""


@dataclass(frozen=True)
class WeekValue:
    """Change of profit when every handover is a week earlier, by cause; the total is their sum. [GBP]

    Attributes
    ----------
    interest, preliminaries, plant, receipts, premium : float
        Interest saved; site costs and plant that leave sooner; receipts and premium that change in amount.
    npv : float
        Change of net present value at the hurdle.
    passed_share : float
        Share of the builder's saving that reaches the client. [-]
    """

    interest: float
    preliminaries: float
    plant: float
    receipts: float
    premium: float
    npv: float
    passed_share: float

    @property
    def total(self) -> float:
        """Sum of the causes: client and builder together."""
        return self.interest + self.site + self.receipts + self.premium

    @property
    def site(self) -> float:
        """What the builder saves on site before passing any of it on."""
        return self.preliminaries + self.plant

    @property
    def client(self) -> float:
        """What the client gains: interest, receipts and premium, and the share the builder passes on."""
        return self.interest + self.receipts + self.premium + self.passed_share * self.site

    @property
    def builder(self) -> float:
        """What the builder keeps."""
        return (1 - self.passed_share) * self.site

    @property
    def damages_basis(self) -> float:
        """The client's own loss in a week, from which damages are usually set; part of `client`."""
        return self.interest + self.receipts


def week_value(now: Cash, moved: Cash, hurdle: float, passed_share: float) -> WeekValue:
    """Return the difference of two pricings by cause: `moved` against `now`.

    Parameters
    ----------
    now, moved : Cash
        The second with the loans and fees of the first.
    hurdle : float
        Effective rate. [-, a year]
    passed_share : float
        [-]
    """
    plant = [float(cash.time_costs.amount[cash.time_costs.plant].sum()) for cash in (now, moved)]
    site = [float(cash.costs["preliminaries"].sum()) for cash in (now, moved)]
    return WeekValue(
        interest=float(now.facility.interest_total - moved.facility.interest_total),
        preliminaries=(site[0] - plant[0]) - (site[1] - plant[1]),
        plant=plant[0] - plant[1],
        receipts=float(moved.receipts.sum() - now.receipts.sum()),
        premium=float(now.costs["premium"].sum() - moved.costs["premium"].sum()),
        npv=float(npv(moved.receipts - moved.cost, hurdle) - npv(now.receipts - now.cost, hurdle)),
        passed_share=passed_share,
    )


def values_frame(weeks: list[float], values: list[WeekValue], name: str) -> pd.DataFrame:
    """Return one row a value: `name`, profit, npv, client, builder, then the causes. [GBP]"""
    return pd.DataFrame(
        {
            name: weeks,
            "profit": [value.total for value in values],
            "npv": [value.npv for value in values],
            "client": [value.client for value in values],
            "builder": [value.builder for value in values],
            **{cause: [getattr(value, cause) for value in values] for cause in CAUSES},
        }
    )
