"""`storeypace explain`: what it prints, what it writes, what it refuses, and with which exit status."""

from __future__ import annotations

import io
import json
import os
import subprocess
import sys
from pathlib import Path
from types import SimpleNamespace

import pytest
from rich.console import Console

from dashboard import cli
from dashboard.explain_table import explanation_table

ROOT = Path(__file__).parents[2]
SITE = '[development]\nname = "Sample Yard"\nplace = "london"\nstart = 2027-04-05\n'
LEAST = SITE + '[[blocks]]\nname = "East"\nstoreys = 3\nflats_per_storey = 4\n'


@pytest.fixture
def run(capsys, monkeypatch):
    """Run a command in this process: exit status, standard output, standard error."""

    def command(*arguments, stdin=b""):
        monkeypatch.setattr(sys, "stdin", SimpleNamespace(buffer=io.BytesIO(stdin)))
        code = cli.main([str(argument) for argument in arguments])
        out, err = capsys.readouterr()
        return code, out, err

    return command


@pytest.fixture
def least(tmp_path):
    file = tmp_path / "least.toml"
    file.write_text(LEAST)
    return file


def test_walls_come_before_elements_and_elements_before_differences(run, least):
    code, out, err = run("explain", least)
    assert (code, err) == (0, "")
    lines = [line.strip() for line in out.splitlines()]
    assert lines[0] == "Sample Yard"
    assert lines[1].startswith("panelised against open_frame: first handover ")
    begin = [
        next(k for k, line in enumerate(lines) if line.startswith(words))
        for words in (
            "walls", "everything else", "Verticals", "Deck", "Outer wall", "Separating walls", "together",
            "The biggest differences",
        )
    ]  # fmt: skip
    assert begin == sorted(begin)
    assert any("pay only together" in line for line in lines)
    assert lines[-1].endswith("records are the same in both.")
    assert all(len(line) <= 80 for line in lines[begin[0] : begin[-2] + 1])


def test_json_alone_or_into_a_file_beside_the_table(run, least, tmp_path):
    code, out, err = run("explain", "-", "--json", "-", stdin=LEAST.encode())
    assert (code, err) == (0, "")
    figures = json.loads(out)
    assert (figures["from"], figures["to"]) == ("open_frame", "panelised")
    measure = figures["measures"]["profit"]
    assert sum(measure["elements"].values()) == pytest.approx(measure["total"], rel=1e-9)
    code, out, _err = run("explain", least, "--json", tmp_path / "out.json")
    assert code == 0
    assert "everything else" in out
    assert json.loads((tmp_path / "out.json").read_text("utf-8"))["players"] == figures["players"]


def test_methods_are_chosen_by_id_and_turned_round(run, least):
    there, back = (
        json.loads(run("explain", least, "--json", "-", "--from", a, "--to", b)[1])
        for a, b in (("open_frame_best", "panelised"), ("panelised", "open_frame_best"))
    )
    assert (there["from"], there["to"]) == ("open_frame_best", "panelised") == (back["to"], back["from"])
    assert set(there["measures"]["loads"]["elements"]) == {"outer_wall", "separating_wall"}
    for name, measure in there["measures"].items():
        assert back["measures"][name]["total"] == pytest.approx(-measure["total"], rel=1e-9, abs=1e-6), name


def test_the_same_method_twice(run, least):
    code, out, err = run("explain", least, "--from", "panelised", "--to", "panelised")
    assert (code, err) == (0, "")
    assert "first handover at the same time, last at the same time; profit £0." in out
    assert out.endswith("The two are built alike; no record differs.\n")


def test_methods_that_are_not_known_are_all_told_and_nothing_is_written(run, least, tmp_path):
    code, out, err = run("explain", least, "--from", "x", "--to", "y", "--json", tmp_path / "out.json")
    assert (code, out) == (2, "")
    told = err.splitlines()
    assert [line.split(": ")[0] for line in told] == ["--from", "--to"]
    assert all("There are: open_frame, open_frame_best, panelised." in line for line in told)
    assert not (tmp_path / "out.json").exists()


def test_every_problem_of_the_file_is_told(run, least):
    least.write_text(LEAST.replace("london", "atlantis").replace("storeys = 3", "storeys = 0"))
    code, out, err = run("explain", least)
    assert (code, out) == (2, "")
    assert [line.split(": ")[0] for line in err.splitlines()] == [
        "development.place",
        "blocks[1] 'East'.storeys",
    ]


def test_a_file_that_cannot_be_written_ends_with_two(run, least, tmp_path):
    code, out, err = run("explain", least, "--json", tmp_path / "nowhere" / "out.json")
    assert (code, out) == (2, "")
    assert "the file cannot be written" in err


@pytest.mark.parametrize("command", ["explain", "audit"])
def test_a_terminal_shows_how_far_it_is(run, least, tmp_path, monkeypatch, command):
    monkeypatch.setattr("rich.console.Console.is_terminal", property(lambda _self: True))
    more = ["--out", tmp_path / "pack"] if command == "audit" else []
    code, _out, err = run(command, least, *more)
    assert code == 0
    assert {"explain": "Switching one part", "audit": "Setting one difference equal"}[command] in err


def printed(figures):
    out = io.StringIO()
    explanation_table(figures, Console(file=out, highlight=False, soft_wrap=True, width=100))
    return out.getvalue()


def test_pairs_and_options_that_cannot_be_set_equal_are_put_in_words(run, least):
    figures = json.loads(run("explain", least, "--json", "-")[1])
    pair = figures["measures"]["weeks_to_last_handover"]["pairs"][0]
    pair |= {"alone": [-0.3, 0.0], "both": 1.5, "only_together": True}
    row = figures["differences"][0]
    row |= {"effect_weeks": None, "effect_profit": None, "note": "The programme is not finished."}
    text = printed(figures)
    assert (
        "Verticals and deck pay only together: last handover 1.5 weeks sooner for both, "
        "2 days later and at the same time alone."
    ) in text
    assert "Verticals: Precast columns in place of Cast columns; cannot be set equal: The programme" in text
    figures["measures"]["weeks_to_last_handover"]["pairs"][0]["both"] = 0.01
    assert "Verticals and deck pay" not in printed(figures)


def test_options_that_only_go_together_are_told_once(run, least):
    least.write_text(
        LEAST
        + '[[methods]]\nid = "open_frame"\n[[methods]]\nid = "slips"\nlike = "open_frame"\n'
        + '[methods.options]\nouter_wall = "panel_before_deck"\nfinish = "slips_on_panel"\n'
    )
    _code, out, _err = run("explain", least)
    (line,) = (line for line in out.splitlines() if "Outer wall with facade finish: " in line)
    assert "the deck over with Brick slips on the panel, joints closed on site in place of Framed in" in line
    assert "1 differences of their own" not in out
    assert out.splitlines()[-1].startswith("1 difference of its own, ")


BLOCKED = """
import sys
for name in ("streamlit", "plotly", "scipy.stats"):
    sys.modules[name] = None
from dashboard.cli import main
code = main(["explain", sys.argv[1]])
loaded = {name.split(".")[0] for name, module in sys.modules.items() if module}
print("code", code, sorted(loaded & {"streamlit", "plotly"}))
"""


def test_a_process_needs_neither_page_nor_charts_nor_statistics(least):
    done = subprocess.run(
        [sys.executable, "-c", BLOCKED, str(least)],
        cwd=ROOT,
        env={**os.environ, "PYTHONPATH": str(ROOT), "PYTHONIOENCODING": "ascii"},
        capture_output=True,
        text=True,
        check=False,
        timeout=300,
    )
    assert done.stdout.endswith("code 0 []\n"), done.stderr
    assert "everything else" in done.stdout
