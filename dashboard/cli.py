"""The command line: `storeypace`, with `page`, `check`, `compare`, `explain`, `breakeven`, `risk`,
`audit`, `sweep`.

Exit status: 0 done; 2 the input cannot be used (every problem on standard error, one a line, nothing
written); 1 a bug. Streamlit, plotly and scipy.stats are not imported for any command but the page.
"""

from __future__ import annotations

import argparse
import io
import json
import os
import sys
import tempfile
from collections.abc import Callable, Sequence
from pathlib import Path
from typing import TYPE_CHECKING, Any, TypeVar

from model.core.errors import ModelError, ScenarioError

if TYPE_CHECKING:
    from model.compare import Comparison
    from model.explain.breakeven import BreakEven

T = TypeVar("T")
Told = Callable[[int, int], None]

EVEN = {"profit": "profit", "npv": "npv", "first": "first handover", "last": "last handover"}
"""Figures that can be brought even, by the word for each."""


def main(argv: Sequence[str] | None = None) -> int:
    """Run the command line.

    Parameters
    ----------
    argv : sequence of str, optional
        Arguments; those of the process if left out.

    Returns
    -------
    int
        Exit status.
    """
    arguments = _parser().parse_args(argv)
    for stream in (sys.stdout, sys.stderr):
        if isinstance(stream, io.TextIOWrapper):
            stream.reconfigure(errors="replace")  # a terminal without a pound sign is no reason to stop
    try:
        return int(arguments.run(arguments))
    except ScenarioError as error:
        for problem in error.problems:
            print(_one_line(str(problem)), file=sys.stderr)
        return 2
    except ModelError as error:
        print(_one_line(str(error)), file=sys.stderr)
        return 2
    except BrokenPipeError:  # the reader of our output went away
        os.dup2(os.open(os.devnull, os.O_WRONLY), sys.stdout.fileno())
        return 0


def _one_line(text: str) -> str:
    return " ".join(text.split())


def _parser() -> argparse.ArgumentParser:
    parser = argparse.ArgumentParser(
        prog="storeypace",
        description="What factory-finished wall panels change for a development, against an open frame.",
    )
    parser.set_defaults(run=_page, port=None, no_browser=False)
    commands = parser.add_subparsers(title="commands", metavar="command")

    page = commands.add_parser("page", help="open the page (also without any command)")
    page.add_argument("--port", type=int, help="port to serve on")
    page.add_argument("--no-browser", action="store_true", help="do not open a browser")
    page.set_defaults(run=_page)

    check = commands.add_parser("check", help="read a scenario and print every problem, or 'no problems'")
    check.add_argument("file", metavar="FILE", help="scenario file, or - for standard input")
    check.set_defaults(run=_check)

    compare = commands.add_parser("compare", help="the comparison as a short table")
    compare.add_argument("file", metavar="FILE", help="scenario file, or - for standard input")
    compare.add_argument("--json", metavar="OUT", help="write all figures as JSON; - prints only JSON")
    compare.set_defaults(run=_compare)

    even = commands.add_parser("breakeven", help="at which value of one figure the methods come out even")
    even.add_argument("file", metavar="FILE", help="scenario file, or - for standard input")
    even.add_argument("--key", action="append", help="library record to move; may be given several times")
    even.add_argument("--of", choices=tuple(EVEN), default="profit", help="figure to bring even")
    even.add_argument("--target", type=float, default=0.0, metavar="X", help="what it is to be, GBP or weeks")
    even.add_argument("--method", metavar="ID", help="a method's own figure, not the difference of two")
    even.add_argument("--json", metavar="OUT", help="write all figures as JSON; - prints only JSON")
    even.set_defaults(run=_breakeven)

    explain = commands.add_parser("explain", help="where the weeks and the money come from")
    explain.add_argument("file", metavar="FILE", help="scenario file, or - for standard input")
    explain.add_argument("--from", dest="first", metavar="ID", help="method compared against; else the first")
    explain.add_argument("--to", dest="second", metavar="ID", help="method compared; else the second")
    explain.add_argument("--json", metavar="OUT", help="write all figures as JSON; - prints only JSON")
    explain.set_defaults(run=_explain)

    risk = commands.add_parser("risk", help="how early, how late, how dear: the methods drawn many times")
    risk.add_argument("file", metavar="FILE", help="scenario file, or - for standard input")
    risk.add_argument("--runs", type=int, default=2000, metavar="N", help="draws (2000)")
    risk.add_argument("--seed", type=int, default=1, metavar="S", help="equal seeds give equal draws (1)")
    risk.add_argument("--json", metavar="OUT", help="write all figures as JSON; - prints only JSON")
    risk.set_defaults(run=_risk)

    audit = commands.add_parser("audit", help="the audit pack: plain CSV to check everything from")
    audit.add_argument("file", metavar="FILE", help="scenario file, or - for standard input")
    audit.add_argument("--out", metavar="DIR", required=True, help="folder for the pack")
    audit.set_defaults(run=_audit)
    sweep = commands.add_parser(
        "sweep",
        help="a grid of scenarios as CSV; called again after a break, it carries on",
        description="Works every combination of the values given. Finished rows stand in OUT.part until all "
        "are there; the same command carries on from them.",
    )
    sweep.add_argument("file", metavar="FILE", help="scenario file, or - for standard input")
    sweep.add_argument(
        "--vary",
        action="append",
        required=True,
        metavar="KEY=a:b:n",
        help="n values from a to b of a library record, blocks.NAME.storeys, cranes.NAME.number or "
        "methods.ID.RECORD; may be given several times",
    )
    sweep.add_argument("--out", metavar="CSV", required=True, help="file for the rows")
    sweep.add_argument("--jobs", type=int, default=1, metavar="N", help="processes to work in; 1 if left out")
    sweep.set_defaults(run=_sweep)
    return parser


def _page(arguments: argparse.Namespace) -> int:
    from dashboard.serve import serve

    return serve(arguments.port, arguments.no_browser)


def _check(arguments: argparse.Namespace) -> int:
    from model import compare_methods, load_scenario

    scenario = load_scenario(arguments.file)
    compare_methods(scenario)  # options, deck sets and rings show only when a programme is made
    for warning in scenario.warnings:
        print(f"warning: {warning}")
    print("no problems")
    return 0


def _compare(arguments: argparse.Namespace) -> int:
    from model import compare_methods, load_scenario

    comparison = compare_methods(load_scenario(arguments.file))
    figures = comparison.as_json()
    if arguments.json is not None:
        from model.report.figures import comparison_figures

        figures = _with_bar(
            "Running it again with one thing changed", lambda told: comparison_figures(comparison, told)
        )
    if _only_json(figures, arguments.json):
        return 0
    from dashboard.terminal import comparison_table

    comparison_table(figures)
    return 0


def _breakeven(arguments: argparse.Namespace) -> int:
    from model import compare_methods, load_scenario
    from model.compare.contrast import tool_version

    if arguments.method is not None and not arguments.key:
        print("--method asks for a record of that method: name it with --key.", file=sys.stderr)
        return 2
    comparison = compare_methods(load_scenario(arguments.file))
    answers, refused = _break_evens(comparison, arguments)
    for said in refused:
        print(_one_line(said), file=sys.stderr)
    if refused:
        return 2
    scenario = comparison.scenario
    figures = {
        "storeypace": tool_version(),
        "scenario": {"name": scenario.development.name, "fingerprint": scenario.fingerprint()},
        "first": comparison.first.method.id,
        "second": comparison.second.method.id,
        "of": EVEN[arguments.of],
        "target": arguments.target,
        "break_evens": [answer.as_json() for answer in answers],
    }
    if _only_json(figures, arguments.json):
        return 0
    from dashboard.breakeven_table import break_even_table

    break_even_table(scenario.development.name, answers)
    return 0


def _break_evens(
    comparison: Comparison, arguments: argparse.Namespace
) -> tuple[tuple[BreakEven, ...], list[str]]:
    """Answers of the records named, or of the ready questions, and why others cannot be asked."""
    from model.explain.breakeven import break_even, ready_break_evens

    of, target = EVEN[arguments.of], arguments.target
    answers: list[BreakEven] = []
    refused: list[str] = []

    def ask(told: Told | None) -> None:
        if not arguments.key:
            answers.extend(ready_break_evens(comparison, of, told, target=target))
            return
        for done, key in enumerate(arguments.key, start=1):
            try:
                answers.append(break_even(comparison, key, of=of, target=target, method=arguments.method))
            except ModelError as error:
                if str(error) not in refused:  # the same for every key: the target, the method
                    refused.append(str(error))
            if told is not None:
                told(done, len(arguments.key))

    _with_bar("Trying one figure after another", ask)
    return tuple(answers), refused


def _explain(arguments: argparse.Namespace) -> int:
    from model import load_scenario
    from model.explain.credit import explain

    scenario = load_scenario(arguments.file)
    figures = _with_bar(
        "Switching one part after another",
        lambda told: explain(scenario, arguments.first, arguments.second, told).as_json(),
    )
    if _only_json(figures, arguments.json):
        return 0
    from dashboard.explain_table import explanation_table

    explanation_table(figures)
    return 0


def _only_json(figures: dict[str, Any], to: str | None) -> bool:
    """Write figures as JSON where they are wanted; say whether nothing else is to be printed."""
    if to is None:
        return False
    to_terminal = to == "-"  # whose letters may be few; a file is in UTF-8
    text = json.dumps(figures, indent=2, ensure_ascii=to_terminal, allow_nan=False)
    if to_terminal:
        print(text)
    else:
        _write_whole(Path(to), text + "\n")
    return to_terminal


def _with_bar(words: str, work: Callable[[Told | None], T]) -> T:
    """Do some work that tells how far it is; a terminal shows it."""
    from rich.console import Console
    from rich.progress import Progress

    errors = Console(stderr=True)
    if not errors.is_terminal:
        return work(None)
    with Progress(console=errors, transient=True) as bar:
        task = bar.add_task(words, total=None)
        return work(lambda done, of: bar.update(task, completed=done, total=of))


def _risk(arguments: argparse.Namespace) -> int:
    from dashboard.risk_table import draw_with_progress, risk_table
    from model import compare_methods, load_scenario

    comparison = compare_methods(load_scenario(arguments.file))
    figures = draw_with_progress(comparison, arguments.runs, arguments.seed).as_json()
    if _only_json(figures, arguments.json):
        return 0
    risk_table(figures)
    return 0


def _audit(arguments: argparse.Namespace) -> int:
    from model import compare_methods, load_scenario
    from model.report.audit import write_audit

    comparison = compare_methods(load_scenario(arguments.file))
    folder = Path(arguments.out)
    files = _with_bar("Setting one difference equal", lambda told: write_audit(comparison, folder, told))
    print(f"{len(files)} files in {arguments.out}")
    return 0


def _sweep(arguments: argparse.Namespace) -> int:
    from contextlib import nullcontext

    from rich.console import Console
    from rich.progress import BarColumn, MofNCompleteColumn, Progress, TextColumn, TimeRemainingColumn

    from model import load_scenario
    from model.explain.sweep import read_grid
    from model.explain.sweep_file import part_of, write_sweep
    from model.explain.workers import BATCH, processes

    jobs = arguments.jobs
    if jobs < 1:
        print(f"--jobs {jobs}: at least 1 process is needed. Give 1 or more.", file=sys.stderr)
        return 2
    scenario = load_scenario(arguments.file)
    grid = read_grid(scenario, arguments.vary)
    errors = Console(stderr=True)
    columns = (TextColumn("{task.description}"), BarColumn(), MofNCompleteColumn(), TimeRemainingColumn())
    try:
        with (
            processes(jobs) if jobs > 1 else nullcontext(map) as worked_by,
            Progress(*columns, console=errors, transient=True, disable=not errors.is_terminal) as bar,
        ):
            task = bar.add_task("Rows", total=grid.size)
            problem_rows, kept = write_sweep(
                scenario,
                grid,
                arguments.out,
                map=worked_by,
                batch=BATCH * jobs if jobs > 1 else 1,
                progress=lambda done, of: bar.update(task, completed=done, total=of),
            )
    except KeyboardInterrupt:
        part = part_of(arguments.out)
        print(f"stopped; the rows done are in {part}, the same command carries on from them", file=sys.stderr)
        return 130
    if problem_rows:
        print(f"{problem_rows} of {grid.size} rows carry a problem: see the last column", file=sys.stderr)
    before = f", {kept} of them from before" if kept else ""
    print(f"{grid.size} rows in {arguments.out}{before}")
    return 0


def _write_whole(path: Path, text: str) -> None:
    """Write a file whole or not at all."""
    from model.core.errors import Problem

    made = ""
    try:
        if path.exists() and not path.is_file():  # a device takes the text as it comes; a folder refuses it
            path.write_text(text, encoding="utf-8")
            return
        with tempfile.NamedTemporaryFile(
            "w", encoding="utf-8", dir=path.parent, prefix=f".{path.name}-", delete=False
        ) as file:
            made = file.name
            file.write(text)
        os.umask(mask := os.umask(0))
        os.chmod(made, 0o666 & ~mask)  # a temporary file is its maker's alone; this one is like any other
        os.replace(made, path)
    except OSError as error:
        raise ScenarioError(
            [
                Problem(
                    f"--json {path}",
                    f"the file cannot be written ({error.strerror or error})",
                    "It must be a file name in a folder that exists, where you may write.",
                    "Choose another name.",
                )
            ]
        ) from error
    finally:
        if made:
            Path(made).unlink(missing_ok=True)  # gone already where all went well


if __name__ == "__main__":
    sys.exit(main())
