"""Stage: what does it cost, what does it earn? `price(...) -> Account`."""

from model.money.account import Account, common_grid, price

__all__ = ["Account", "common_grid", "price"]
