"""`storeypace sweep`: what it writes, what it refuses, and what is left when it is killed."""

from __future__ import annotations

import csv
import os
import subprocess
import sys
import time
from pathlib import Path

import pytest

from dashboard import cli

ROOT = Path(__file__).parents[2]
SCENARIO = ROOT / "scenarios" / "two_storey.toml"
PRICES = ["--vary", "money.price=5000:8000:8", "--vary", "money.debt_rate_pct=6:12:4"]
ROWS = 32


@pytest.fixture
def run(capsys):
    """Run a command in this process: exit status, standard output, standard error."""

    def command(*arguments):
        code = cli.main(["sweep", *map(str, arguments)])
        out, err = capsys.readouterr()
        return code, out, err

    return command


@pytest.fixture(scope="module")
def uninterrupted(tmp_path_factory):
    out = tmp_path_factory.mktemp("whole") / "rows.csv"
    assert cli.main(["sweep", str(SCENARIO), *PRICES, "--out", str(out)]) == 0
    return out.read_bytes()


def test_a_sweep_is_a_file_of_rows(run, tmp_path):
    out = tmp_path / "rows.csv"
    code, said, err = run(
        SCENARIO, "--vary", "blocks.Only.storeys=0:2:3", "--vary", "money.price=6500", "--out", out
    )
    assert (code, said) == (0, f"3 rows in {out}\n")
    assert err == "1 of 3 rows carry a problem: see the last column\n"
    rows = list(csv.DictReader(out.read_text().splitlines()))
    assert [row["blocks.Only.storeys"] for row in rows] == ["0", "1", "2"]
    assert [bool(row["problem"]) for row in rows] == [True, False, False]
    assert float(rows[2]["difference.weeks_to_first_handover"]) == pytest.approx(0.958571, abs=1e-6)
    assert [path.name for path in tmp_path.iterdir()] == ["rows.csv"]


@pytest.mark.parametrize(
    ("arguments", "said"),
    [
        (["--vary", "money.pric=1:2:2", "--vary", "money"], ["'money.price'", "It is written KEY=a:b:n"]),
        (["--vary", "money.price=1:2:2", "--jobs", "0"], ["--jobs 0: at least 1 process is needed."]),
        (["--vary", "cranes.Only.number=1:2:4"], ["1.33333 is no whole number. It is counted."]),
    ],
)
def test_what_cannot_be_swept_is_said_in_a_line_each_and_nothing_is_written(run, tmp_path, arguments, said):
    code, out, err = run(SCENARIO, *arguments, "--out", tmp_path / "rows.csv")
    assert (code, out) == (2, "")
    lines = err.splitlines()
    assert len(lines) == len(said)
    for words in said:
        assert sum(words in line for line in lines) == 1
    assert list(tmp_path.iterdir()) == []


def test_a_folder_that_does_not_exist_is_refused(run, tmp_path):
    code, out, err = run(SCENARIO, "--vary", "money.price=1:2:2", "--out", tmp_path / "no" / "rows.csv")
    assert (code, out) == (2, "")
    assert "the file cannot be written (No such file or directory)" in err
    assert len(err.splitlines()) == 1


def test_how_far_it_is_shows_on_a_terminal_only(run, tmp_path, monkeypatch):
    import rich.progress

    told = []
    monkeypatch.setattr("rich.console.Console.is_terminal", True)
    monkeypatch.setattr(
        rich.progress.Progress, "update", lambda _bar, _task, **named: told.append(tuple(named.values()))
    )
    assert run(SCENARIO, "--vary", "money.price=6000:7000:2", "--out", tmp_path / "rows.csv")[0] == 0
    assert told == [(0, 2), (1, 2), (2, 2)]


def test_stopped_by_hand_it_says_where_the_rows_are(run, tmp_path, monkeypatch):
    def stop(_task):
        raise KeyboardInterrupt

    monkeypatch.setattr("model.explain.sweep.work_row", stop)
    out = tmp_path / "rows.csv"
    code, said, err = run(SCENARIO, *PRICES, "--out", out)
    assert (code, said) == (130, "")
    assert err == f"stopped; the rows done are in {out}.part, the same command carries on from them\n"
    assert not out.exists()


@pytest.mark.skipif(os.name != "posix", reason="the signal that cannot be caught is POSIX's")
@pytest.mark.parametrize("jobs", [1, 2])
def test_killed_outright_it_keeps_every_row_done_and_carries_on(run, tmp_path, uninterrupted, jobs):
    out = tmp_path / "rows.csv"
    part = Path(f"{out}.part")
    command = [sys.executable, "-m", "dashboard.cli", "sweep", str(SCENARIO), *PRICES, "--out", str(out)]
    first = subprocess.Popen(
        [*command, "--jobs", str(jobs)], cwd=ROOT, start_new_session=True, stderr=subprocess.PIPE
    )
    wait_until(lambda: part.exists() and part.read_bytes().count(b"\n") >= 5, first)
    first.kill()
    first.wait()
    wait_until(lambda: not anybody(first.pid))  # its workers end with it

    assert not out.exists()
    mark, rows = part.read_bytes().split(b"\n", 1)
    assert mark.startswith(b"# rows of an unfinished sweep: ")
    whole = rows[: rows.rfind(b"\n") + 1]
    assert uninterrupted.startswith(whole)
    kept = whole.count(b"\n") - 1
    assert 3 <= kept < ROWS

    code, said, err = run(SCENARIO, *PRICES, "--out", out)
    assert (code, said, err) == (0, f"{ROWS} rows in {out}, {kept} of them from before\n", "")
    assert out.read_bytes() == uninterrupted
    assert [path.name for path in tmp_path.iterdir()] == ["rows.csv"]


def wait_until(condition, process=None, seconds=120.0):
    end = time.monotonic() + seconds
    while not condition():
        assert time.monotonic() < end, "waited too long"
        assert process is None or process.poll() is None, process.stderr.read().decode()
        time.sleep(0.01)


def anybody(group):
    """Whether a process of a group is left."""
    try:
        os.killpg(group, 0)
    except ProcessLookupError:
        return False
    return True
