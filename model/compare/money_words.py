"""How is the difference of two accounts told, and why can interest rise although the works end sooner?

Compressing the works alone makes interest dearer: the same money is spent sooner. Only receipts that come
sooner make it cheaper, and they come sooner only for flats that were reserved by then. `say_interest` tells
of both wherever they occur; it gives facts, no advice.
"""

from __future__ import annotations

from collections.abc import Callable, Sequence
from typing import Final

from model.compare.bridge import Bridge, Figures
from model.compare.money_bridge import MEASURED, WORKS, MoneyBridge
from model.core.words import money, sooner, weeks

HALF_POUND: Final = 0.5
"""Below this a sum is not spoken of. [GBP]"""

WEEK_DAYS: Final = 7.0
HALF_DAY: Final = 0.5 / WEEK_DAYS
"""Below this two dates are not told apart. [weeks]"""


def say_bridge(
    bridge: MoneyBridge, weeks_first: float, weeks_last: float, names: tuple[str, str]
) -> list[str]:
    """Tell where a difference of profit comes from.

    Parameters
    ----------
    bridge : MoneyBridge
    weeks_first, weeks_last : float
        First and last handover of the second sooner by; negative is later. [weeks]
    names : tuple of str
        The two methods in the reader's words.

    Returns
    -------
    list of str
        Sentences: the difference, its causes, then `say_interest`. None where nothing differs.
    """
    if not bridge.steps:
        return []
    total, (one, other) = bridge.total, names
    taken = "switched in this order" if bridge.ordered else "averaged over every order of switching"
    causes = [f"{cause} {_signed(step.profit)}" for cause, step in _told(bridge, lambda step: step.profit)]
    difference = (
        f"Profit is {money(abs(total.profit))} {'higher' if total.profit > 0 else 'lower'} with {other} than "
        f"with {one}"
        if abs(total.profit) >= HALF_POUND
        else f"Profit is the same with {other} as with {one}"
    )
    said = [
        f"{difference}: costs less receipts {_change(total.cost)}, interest and fees "
        f"{_change(total.finance)}. {_handovers(weeks_first, weeks_last)}"
    ]
    if causes:
        said.append(f"Profit by cause, interest and fees included, {taken}: {'; '.join(causes)}.")
    return [*said, *say_interest(bridge, weeks_last, names)]


def say_interest(bridge: MoneyBridge, weeks_last: float, names: tuple[str, str]) -> list[str]:
    """Tell why interest on the works rises although they end sooner, or falls although they end later.

    Parameters
    ----------
    bridge : MoneyBridge
    weeks_last : float
        Last handover of the second sooner by; negative is later. [weeks]
    names : tuple of str
        The two methods in the reader's words.

    Returns
    -------
    list of str
        Sentences; none where neither happens.
    """
    told = next((lines for lines in (WORKS, (MEASURED,)) if _against(bridge, lines, weeks_last)), None)
    if told is None:
        return []
    whole = told == WORKS
    said = [
        f"The last handover is {sooner(weeks_last)} with {names[1]}, and interest and fees on "
        f"{'the works' if whole else MEASURED} {_change(bridge.of(*told).finance)}{_parts(bridge, told)}.",
        _dates(bridge, told),
    ]
    shares = bridge.presold
    if shares[0] is not None and shares[1] is not None and min(shares[0], shares[1]) < 1.0:
        said.append(
            f"Reserved by their handover were {_share(shares[0])} of the flats with {names[0]} and "
            f"{_share(shares[1])} with {names[1]}; the others wait for a buyer, so their money does not "
            "follow the handover."
        )
    return said


def _against(bridge: Bridge, lines: Sequence[str], weeks_last: float) -> bool:
    """Say whether lines of the works cost more interest although they end sooner, or less though later."""
    finance = bridge.of(*lines).finance
    return abs(weeks_last) >= HALF_DAY and abs(finance) >= HALF_POUND and (finance > 0) == (weeks_last > 0)


def _parts(bridge: MoneyBridge, lines: Sequence[str]) -> str:
    """Say which lines of the works the interest comes from."""
    moved_only = abs(bridge.of(MEASURED).cost) < HALF_POUND
    words = {
        MEASURED: "the same work at other dates" if moved_only else MEASURED,
        "premium": "the premium over what is replaced",
        "paid ahead": "payments to the maker ahead of fixing",
    }
    told = [(words[name], step.finance) for name, step in _told(bridge, _finance) if name in lines]
    if len(told) == 1:
        (word, _sum), *_ = told
        return "" if word in lines else f" ({word})"
    return ": " + ", ".join(f"{word} {_signed(amount)}" for word, amount in told)


def _dates(bridge: MoneyBridge, lines: Sequence[str]) -> str:
    """Say how far the money of works and receipts moves on average, and what the receipts' move is worth."""
    whole = len(lines) > 1
    works = _weeks_between(bridge.works_day if whole else bridge.construction_day)
    income, step = _weeks_between(bridge.receipts_day), bridge.of("receipts")
    text = ""
    if works is not None:
        text += f"{'The works are' if whole else 'The work is'} paid for {_earlier(works)} on average. "
    if income is not None:
        short = works is not None and HALF_DAY <= abs(income) < abs(works) and (income > 0) == (works > 0)
        text += f"Receipts come {'only ' if short else ''}{_earlier(income)}"
        if abs(step.cost) >= HALF_POUND:
            text += f", {money(abs(step.cost))} {'less' if step.cost > 0 else 'more'} in all,"
        if abs(step.finance) >= HALF_POUND:
            worth = money(abs(step.finance))
            text += f" and {'save' if step.finance < 0 else 'cost'} {worth} of interest and fees"
        text = f"{text.removesuffix(',')}. "
    both = step.finance + bridge.of(*lines).finance
    return (
        f"{text}{'Works' if whole else 'This work'} and receipts together: interest and fees {_change(both)}."
    )


def _told(bridge: Bridge, of: Callable[[Figures], float]) -> list[tuple[str, Figures]]:
    """Return the steps worth speaking of, the largest first; as they were taken where the order is fixed."""
    told = [(cause, step) for cause, step in bridge.steps.items() if abs(of(step)) >= HALF_POUND]
    return told if bridge.ordered else sorted(told, key=lambda item: -abs(of(item[1])))


def _finance(step: Figures) -> float:
    return step.finance


def _weeks_between(days: tuple[float | None, float | None]) -> float | None:
    """Return by how many weeks the second of two days is earlier; None where one is missing. [weeks]"""
    first, second = days
    return None if first is None or second is None else (first - second) / WEEK_DAYS


def _handovers(first: float, last: float) -> str:
    if max(abs(first), abs(last)) < HALF_DAY:
        return "Handovers are at the same time."
    return f"The first handover is {sooner(first)}, the last {sooner(last)}."


def _earlier(by: float) -> str:
    if abs(by) < HALF_DAY:
        return "at the same time"
    return f"{weeks(by)} {'earlier' if by > 0 else 'later'}"


def _change(amount: float) -> str:
    if abs(amount) < HALF_POUND:
        return "do not change"
    return f"{'rise' if amount > 0 else 'fall'} by {money(abs(amount))}"


def _signed(amount: float) -> str:
    return f"{'+' if amount > 0 else '−'}{money(abs(amount))}"


def _share(share: float) -> str:
    return f"{100 * share:.0f} %"
