"""Drawn outcomes on a terminal: a bar while they are drawn, then a table."""

from __future__ import annotations

import signal
import threading
from collections.abc import Iterator
from contextlib import contextmanager
from typing import TYPE_CHECKING, Any

from rich.console import Console
from rich.table import Table

from model.core.words import money, sooner

if TYPE_CHECKING:
    from collections.abc import Callable

    from model.compare import Comparison
    from model.risk.result import Risk

POINTS = ("p10", "p50", "p80", "p90", "mean")
DRIVERS_SHOWN = 5
WEAK = 2.0
"""A rank correlation within this over the root of the runs may be chance."""

ROWS = (
    ("weeks to first handover", "weeks_to_first_handover"),
    ("weeks to last handover", "weeks_to_last_handover"),
    ("profit", "profit"),
    ("NPV", "npv"),
)


def draw_with_progress(comparison: Comparison, runs: int, seed: int) -> Risk:
    """Draw a comparison; on a terminal with a bar, first percentiles after some hundreds of runs.

    Ctrl-C once stops and keeps what is done; twice breaks off.
    """
    from rich.progress import BarColumn, Progress, TaskProgressColumn, TextColumn

    from model.risk.engine import simulate

    errors = Console(stderr=True)
    with stopped_by_hand() as stop:
        if not errors.is_terminal:
            return simulate(comparison, runs, seed, stop=stop)
        columns = (TextColumn("{task.description}"), BarColumn(), TaskProgressColumn())
        with Progress(*columns, console=errors, transient=True) as bar:
            task = bar.add_task("Drawing", total=runs)

            def told(done: int, of: int, so_far: Risk | None) -> None:
                words = "Drawing" if so_far is None else first_figures(so_far)
                bar.update(task, completed=done, total=of, description=words)

            return simulate(comparison, runs, seed, stop=stop, progress=told)


def first_figures(so_far: Risk) -> str:
    """Say in a line what the runs done so far come to."""
    from model.risk.sampling import percentiles

    said = []
    for k, method in enumerate(so_far.methods):
        weeks = percentiles(so_far.of(k, "weeks_to_last_handover"))
        said.append(f"{method.id} {weeks.p50:.0f} (P80 {weeks.p80:.0f})")
    return f"Weeks to the last handover: {', '.join(said)}"


@contextmanager
def stopped_by_hand() -> Iterator[Callable[[], bool]]:
    """Give a question that is answered yes once Ctrl-C has been pressed; a second one breaks off."""
    pressed = threading.Event()
    if threading.current_thread() is not threading.main_thread():
        yield pressed.is_set
        return
    before = signal.getsignal(signal.SIGINT)

    def press(number: int, frame: Any) -> None:
        pressed.set()
        signal.signal(signal.SIGINT, before)

    signal.signal(signal.SIGINT, press)
    try:
        yield pressed.is_set
    finally:
        signal.signal(signal.SIGINT, before)


def risk_table(figures: dict[str, Any], console: Console | None = None) -> None:
    """Print drawn outcomes as JSON gives them.

    Parameters
    ----------
    figures : dict
        As `Risk.as_json`.
    console : rich.console.Console, optional
        Where to; standard output if left out.
    """
    out = console or Console(highlight=False, soft_wrap=True)
    methods = figures["methods"]
    done, runs = figures["runs_done"], figures["runs"]
    of = f"{runs:,} runs" if figures["complete"] else f"stopped: {done:,} of {runs:,} runs"
    out.print(f"{figures['scenario']['name']} ({of}, seed {figures['seed']})", markup=False)
    table = Table(box=None, pad_edge=False)
    for name, justify in (("", "left"), ("", "left"), *((point.upper(), "right") for point in POINTS)):
        table.add_column("mean" if name == "MEAN" else name, justify=justify)  # type: ignore[arg-type]
    for label, key in ROWS:
        for n, (name, method) in enumerate(methods.items()):
            table.add_row(label if n == 0 else "", name, *(_figure(key, method[key][p]) for p in POINTS))
    out.print(table)
    for line in _sentences(figures):
        out.print(line, markup=False)


def _sentences(figures: dict[str, Any]) -> Iterator[str]:
    methods, difference = figures["methods"], figures["difference"]
    first, second = list(methods)[:2]
    one = methods[first]
    yield ""
    yield (
        "P80 is what 80 % of the runs do not pass: read the high points of weeks, the low points of profit. "
        f"With {figures['runs_done']:,} runs P80 of the weeks to the last handover is known "
        f"to {one['weeks_to_last_handover']['se_p80']:.1f} weeks (one standard error)."
    )
    weeks, profit = difference["weeks_to_last_handover"], difference["profit"]
    yield (
        f"{second} against {first}, run by run: last handover {sooner(weeks['p50'])} in the middle, "
        f"{sooner(weeks['p10'])} to {sooner(weeks['p90'])} in eight runs of ten; "
        f"profit {money(profit['p50'])} in the middle, {money(profit['p10'])} to {money(profit['p90'])}."
    )
    yield (
        f"{second} hands over later in {_share(difference['chance_later'])} of the runs and earns less in "
        f"{_share(difference['chance_dearer'])}."
    )
    late = ", ".join(f"{name} {_share(m['chance_past_longstop'])}" for name, m in methods.items())
    yield f"Past the longstop date, {figures['longstop']}: {late}."
    least = WEAK / figures["runs_done"] ** 0.5
    for on, words in (("weeks", "weeks between the last handovers"), ("profit", "profit")):
        mine = [d for d in figures["drivers"] if d["on"] == on and abs(d["rank_correlation"]) > least]
        if mine:
            told = ", ".join(f"{d['label']} {d['rank_correlation']:+.2f}" for d in mine[:DRIVERS_SHOWN])
            yield f"What drives the difference of {words} (rank correlation): {told}."
    bias = one["optimism_bias"]
    told = ", ".join(f"{n} {m['optimism_bias']['weeks_to_last_handover']:.0f}" for n, m in methods.items())
    yield (
        f"Beside it, the expected case with the public allowance of {bias['weeks_pct']:g} % for optimism: "
        f"{told} weeks to the last handover. {bias['said']}"
    )


def _figure(key: str, value: float) -> str:
    return f"{value:.1f}" if key.startswith("weeks") else money(value)


def _share(value: float) -> str:
    """Return a share in per cent; what is neither none nor all is never rounded to it."""
    if 0 < value < 0.005 or 0.995 < value < 1:
        return "under 1 %" if value < 0.5 else "over 99 %"
    return f"{100 * value:.0f} %"
