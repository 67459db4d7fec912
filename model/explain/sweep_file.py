"""The rows of a sweep on disk: whole or not at all, and none worked twice.

Rows go to a file beside the one asked for, each safe on disk before the next is asked for; the file itself
appears when all are there. A run that was broken off, by whatever means, carries on after its last whole row.
"""

from __future__ import annotations

import csv
import hashlib
import io
import json
import os
import tempfile
from collections.abc import Iterable, Iterator
from contextlib import contextmanager
from pathlib import Path
from typing import IO, Final

from model.compare.contrast import tool_version
from model.core.errors import Problem, ScenarioError
from model.explain.rerun import Progress
from model.explain.sweep import Grid, Row, cell, check_grid, columns, run_many
from model.explain.workers import MapFunction
from model.inputs.scenario import Scenario

_MARK: Final = "# rows of an unfinished sweep: "


def write_sweep(
    scenario: Scenario,
    grid: Grid,
    out: str | Path,
    map: MapFunction = map,
    batch: int = 1,
    progress: Progress | None = None,
) -> tuple[int, int]:
    """Work a grid into a file of comma-separated values.

    Rows go to a file beside it, ``out`` with ``.part`` after its name, each safe on disk before the next is
    asked for; the file itself appears when all are there. Called again after a break, it carries on.

    Parameters
    ----------
    scenario : Scenario
    grid : Grid
    out : str or Path
    map, batch
        As in `run_many`.
    progress : callable, optional
        Told rows done and rows in all.

    Returns
    -------
    int, int
        Rows that carry a problem, and rows that were there from before.

    Raises
    ------
    ScenarioError
        As `check_grid`; if the file cannot be written, or the part is of another scenario or grid.
    """
    check_grid(scenario, grid)
    place = Path(out).resolve()  # a link stays, and what it leads to is written
    part = part_of(place)
    head = f"{_MARK}{_fingerprint(scenario, grid)}\n"
    heads = columns(scenario, grid)
    with _opened(place, part) as file:
        with _told_of(place):
            kept, problems = _kept(file, part, head, heads, grid)
        if progress is not None:
            progress(kept, grid.size)
        for done, row in enumerate(run_many(scenario, grid, map, kept, batch), start=kept + 1):
            with _told_of(place):
                _append(file, _line(row))
            problems += bool(row[-1])
            if progress is not None:
                progress(done, grid.size)
        with _told_of(place):
            _finish(file, len(head.encode()), place)
    part.unlink(missing_ok=True)
    return problems, kept


def part_of(out: str | Path) -> Path:
    """Return where the rows of a sweep stand until all are there."""
    place = Path(out).resolve()
    return place.with_name(f"{place.name}.part")


def _line(cells: Iterable[str]) -> str:
    """Return cells as one line: quoted where needed, and never a line within."""
    text = io.StringIO()
    csv.writer(text, lineterminator="\n").writerow(cells)
    return text.getvalue()


def _fingerprint(scenario: Scenario, grid: Grid) -> str:
    """Return what tells this sweep from any that could give other rows."""
    content = {
        "tool": tool_version(),
        "scenario": scenario.fingerprint(),
        "grid": [[axis.key, list(axis.values)] for axis in grid.axes],
        "columns": list(columns(scenario, grid)),
    }
    return hashlib.sha256(json.dumps(content, sort_keys=True).encode()).hexdigest()


@contextmanager
def _opened(place: Path, part: Path) -> Iterator[IO[bytes]]:
    """Open the part for reading and writing, for this process alone."""
    with _told_of(place):
        if place.exists() and not place.is_file():
            raise OSError(0, "that is no file to put rows in")
        descriptor = os.open(part, os.O_RDWR | os.O_CREAT, 0o666)
    with os.fdopen(descriptor, "r+b") as file:
        _held(file, part)
        yield file


def _held(file: IO[bytes], part: Path) -> None:
    """Refuse a part that another process is writing, where the system can tell."""
    try:
        import fcntl
    except ImportError:
        return
    try:
        fcntl.flock(file, fcntl.LOCK_EX | fcntl.LOCK_NB)
    except OSError:
        raise ScenarioError(
            [
                Problem(
                    f"--out {part}",
                    "another sweep is writing it",
                    "Two may not write one file.",
                    "Wait for the other, or choose another name.",
                )
            ]
        ) from None


def _kept(file: IO[bytes], part: Path, head: str, heads: Row, grid: Grid) -> tuple[int, int]:
    """Return how many rows a part holds, and how many of them carry a problem; begin it if it is empty.

    What follows the last line that is whole is cut off.
    """
    opening = (head + _line(heads)).encode()
    content = file.read()
    whole = content[: content.rfind(b"\n") + 1]
    if not whole.startswith(opening):
        if opening.startswith(content):  # empty, or broken off before the first row
            file.seek(0)
            file.truncate()
            _append(file, opening.decode())
            return 0, 0
        raise ScenarioError(
            [
                Problem(
                    f"--out {part}",
                    "its rows are of another scenario, another grid or another version",
                    "A sweep carries on only where it was broken off.",
                    "Remove this file to begin anew, or choose another name.",
                )
            ]
        )
    rows = list(csv.reader(io.StringIO(whole[len(opening) :].decode(errors="replace"))))
    for row, values in zip(rows, grid.rows(), strict=False):
        if len(row) != len(heads) or row[: len(values)] != [cell(value) for value in values]:
            raise ScenarioError(
                [
                    Problem(
                        f"--out {part}",
                        f"the row {','.join(row[: len(values)])} does not belong there",
                        "A sweep carries on only from rows it wrote itself.",
                        "Remove this file to begin anew, or choose another name.",
                    )
                ]
            )
    file.seek(len(whole))
    file.truncate()
    return len(rows), sum(bool(row[-1]) for row in rows)


def _append(file: IO[bytes], text: str) -> None:
    """Write whole lines, and wait until they are on disk."""
    file.write(text.encode())
    file.flush()
    os.fsync(file.fileno())


def _finish(file: IO[bytes], begin: int, place: Path) -> None:
    """Make the file of the rows of the part, whole or not at all."""
    file.seek(begin)
    made = ""
    try:
        with tempfile.NamedTemporaryFile(
            "wb", dir=place.parent, prefix=f".{place.name}-", delete=False
        ) as whole:
            made = whole.name
            while block := file.read(1 << 20):
                whole.write(block)
            whole.flush()
            os.fsync(whole.fileno())
        os.umask(mask := os.umask(0))
        os.chmod(made, 0o666 & ~mask)
        os.replace(made, place)
    finally:
        Path(made).unlink(missing_ok=True) if made else None


@contextmanager
def _told_of(place: Path) -> Iterator[None]:
    """Say of a file that cannot be written why, and what to do."""
    try:
        yield
    except OSError as error:
        raise ScenarioError(
            [
                Problem(
                    f"--out {place}",
                    f"the file cannot be written ({error.strerror or error})",
                    "It must be a file name in a folder that exists, where you may write.",
                    "Choose another name.",
                )
            ]
        ) from error
