"""Break-even values as a table on a terminal."""

from __future__ import annotations

from collections.abc import Sequence

from rich.console import Console
from rich.table import Table
from rich.text import Text

from model.explain.breakeven import BreakEven


def break_even_table(name: str, answers: Sequence[BreakEven], console: Console | None = None) -> None:
    """Print what each record would have to be, and why where it cannot.

    Parameters
    ----------
    name : str
        Of the scenario.
    answers : sequence of BreakEven
        All of one figure and target.
    console : rich.console.Console, optional
        Where to; standard output if left out.
    """
    out = console or Console(highlight=False, soft_wrap=True)
    out.print(name, markup=False)
    if not answers:
        out.print("There is nothing to ask of these methods without naming a record: give --key.")
        return
    one = answers[0]
    out.print(
        f"The {one.what} is {one.said_figure(one.difference_now)} now; "
        f"what would make it {one.said_figure(one.target)}, one change at a time?",
        markup=False,
    )
    out.print()
    table = Table(box=None, pad_edge=False)
    table.add_column("changed alone")
    table.add_column("now", justify="right")
    table.add_column("met at")
    for answer in answers:
        met = f"{answer.answer}{' *' if answer.beyond else ''}" if answer.found else "not met"
        table.add_row(Text(answer.label), Text(answer.said(answer.value_now)), Text(met))
    out.print(table)
    if any(answer.found and answer.beyond for answer in answers):
        out.print("* outside the range known for it")
    missed = [answer for answer in answers if not answer.found]
    if missed:
        out.print()
    for answer in missed:
        out.print(answer.words, markup=False)
