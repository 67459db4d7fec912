"""The command line: what it prints, what it writes, what it refuses, and with which exit status.

The promises are those of the README and of `storeypace --help`: 0 done, 2 the input cannot be used (every
problem on standard error, one a line, nothing written), 1 a bug.
"""

from __future__ import annotations

import io
import json
import os
import subprocess
import sys
from pathlib import Path
from types import SimpleNamespace

import pytest

from dashboard import cli

ROOT = Path(__file__).parents[2]
PITCH = ROOT / "scenarios" / "pitch.toml"
SITE = '[development]\nname = "Sample Yard"\nplace = "london"\nstart = 2027-04-05\n'
EAST = '[[blocks]]\nname = "East"\nstoreys = 3\nflats_per_storey = 4\n'
LEAST = SITE + EAST
FIVE_MISTAKES = """
[development]
name = "Sample Yard"
place = "londn"
start = 2027-02-30
colour = "green"
[[blocks]]
name = "East"
storeys = -3
flats_per_storey = nan
"""
FIVE_ARE = [
    "development.place: 'londn' is not one of",
    "development.start: 2027-02-30 is not a date.",
    "development.colour: this key is not known.",
    "blocks[1] 'East'.storeys: -3 is outside 1 to 60 storeys.",
    "blocks[1] 'East'.flats_per_storey: nan is not a finite number.",
]


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
    """The least file that must work, in a folder of its own."""
    file = tmp_path / "in" / "least.toml"
    file.parent.mkdir()
    file.write_text(LEAST)
    return file


def left_in(folder):
    return sorted(path.name for path in folder.iterdir())


# Done


def test_check_finds_no_problems(run, least):
    assert run("check", least) == (0, "no problems\n", "")


def test_check_tells_a_warning_and_goes_on(run, least):
    least.write_text(LEAST.replace("2027", "2021"))
    code, out, err = run("check", least)
    assert (code, err) == (0, "")
    assert out.startswith("warning: development.start: ")
    assert out.endswith("no problems\n")


def test_compare_prints_a_table_with_the_difference_and_the_walls_alone(run, least):
    code, out, err = run("compare", least)
    assert (code, err) == (0, "")
    lines = out.splitlines()
    assert lines[0].strip() == "Sample Yard"
    assert lines[1].split() == ["open_frame", "panelised"]
    for row in ("first handover", "weeks to last handover", "profit", "a week is worth"):
        assert any(line.startswith(row) for line in lines), row
    assert any(line.startswith("panelised against open_frame: first handover ") for line in lines)
    assert any(line.startswith("Owed to the walls alone: ") for line in lines)
    assert sum("weeks to the last handover (East)" in line and "work " in line for line in lines) == 2
    assert any(line.endswith(" values stand at their default.") for line in lines)


def test_a_dash_reads_standard_input_and_prints_only_json(run, least):
    code, out, err = run("compare", "-", "--json", "-", stdin=LEAST.encode())
    assert (code, err) == (0, "")
    figures = json.loads(out)
    assert figures["scenario"]["name"] == "Sample Yard"
    assert json.loads(run("compare", least, "--json", "-")[1]) == figures


def test_json_goes_to_a_file_whole_and_the_table_is_still_printed(run, least, tmp_path):
    out_file = tmp_path / "out.json"
    out_file.write_text("old")
    code, out, err = run("compare", least, "--json", out_file)
    assert (code, err) == (0, "")
    assert "profit" in out
    assert set(json.loads(out_file.read_text("utf-8"))) >= {"storeypace", "methods", "difference"}
    assert left_in(tmp_path) == ["in", "out.json"]
    new = tmp_path / "new"
    new.touch()
    assert out_file.stat().st_mode == new.stat().st_mode


def test_audit_writes_a_folder_for_each_method_and_the_differences(run, least, tmp_path):
    out = tmp_path / "deep" / "pack"
    code, told, err = run("audit", least, "--out", out)
    assert (code, err) == (0, "")
    assert told == f"33 files in {out}\n"
    assert left_in(out) == ["differences.csv", "open_frame", "panelised"]
    assert left_in(out / "panelised") == [
        f"{name}.csv"
        for name in (
            "assumptions", "calendars", "cashflow", "factory_payments", "fixed_costs", "hoist", "hook",
            "links", "loads", "operatives", "progress", "quantities", "receipts", "release", "tasks",
            "time_costs",
        )
    ]  # fmt: skip


def test_audit_replaces_its_own_files_and_touches_no_others(run, least, tmp_path):
    folder = tmp_path / "pack"
    (folder / "open_frame").mkdir(parents=True)
    (folder / "open_frame" / "mine.txt").write_text("kept")
    (folder / "open_frame" / "tasks.csv").write_text("old")
    assert run("audit", least, "--out", folder)[0] == 0
    assert (folder / "open_frame" / "mine.txt").read_text() == "kept"
    assert (folder / "open_frame" / "tasks.csv").read_text().startswith("task,block,")
    assert left_in(folder) == ["differences.csv", "open_frame", "panelised"]


def test_breakeven_prints_a_table_and_says_why_where_there_is_no_answer(run, least):
    code, out, err = run("breakeven", least)
    assert (code, err) == (0, "")
    lines = out.splitlines()
    assert lines[0] == "Sample Yard"
    assert lines[1].startswith("The difference of profit is ")
    assert " GBP now; what would make it 0 GBP, one change at a time?" in lines[1]
    assert any(line.split()[:2] == ["Interest", "on"] and " 9 % a year " in line for line in lines)
    table = out[: out.rindex("\n\n")]
    reasons = out[len(table) :].split("\n")
    assert table.count("not met") == sum(" the difference of profit " in line for line in reasons) > 0
    assert all(" GBP at " in line for line in reasons if " cannot be brought to " in line)


def test_breakeven_of_named_records_and_of_dates(run, least):
    code, out, err = run(
        "breakeven", least, "--of", "last", "--key", "factory.lead", "--key", "money.price", "--target", "-2"
    )
    assert (code, err) == (0, "")
    assert "what would make it 2 weeks later, one change at a time?" in out
    assert "Panel order to first panel" in out
    assert "Sale price: the last handover of panelised against open_frame does not move with it" in out


def test_breakeven_as_json_for_a_method_of_its_own(run, least, tmp_path):
    arguments = ("breakeven", least, "--key", "money.price", "--method", "open_frame", "--json")
    code, out, err = run(*arguments, "-")
    assert (code, err) == (0, "")
    figures = json.loads(out)
    assert set(figures) == {"storeypace", "scenario", "first", "second", "of", "target", "break_evens"}
    (answer,) = figures["break_evens"]
    assert (answer["first"], answer["second"], answer["unit"]) == (None, "open_frame", "GBP/m2")
    assert answer["found"]
    code, out, err = run(*arguments, tmp_path / "even.json")
    assert (code, err) == (0, "")
    assert "Sale price" in out
    assert json.loads((tmp_path / "even.json").read_text("utf-8")) == figures


@pytest.mark.parametrize(
    ("arguments", "said"),
    [
        (["--key", "factry.lead", "--key", "money.pric"], ["'factory.lead'", "'money.price'"]),
        (
            ["--key", "money.price", "--key", "money.land", "--target", "nan"],
            ["must be a finite number of GBP"],
        ),
        (["--key", "money.price", "--method", "best"], ["There are: open_frame, panelised. Give one"]),
        (["--method", "panelised"], ["name it with --key."]),
    ],
)
def test_breakeven_refuses_with_one_line_a_problem_and_writes_nothing(run, least, tmp_path, arguments, said):
    code, out, err = run("breakeven", least, *arguments, "--json", tmp_path / "even.json")
    assert (code, out) == (2, "")
    lines = err.splitlines()
    assert len(lines) == len(said)
    assert all(words in line for words, line in zip(said, lines, strict=True))
    assert left_in(tmp_path) == ["in"]


def test_breakeven_shows_how_far_it_is_on_a_terminal_only(run, least, monkeypatch):
    import rich.progress

    told = []
    monkeypatch.setattr("rich.console.Console.is_terminal", True)
    monkeypatch.setattr(
        rich.progress.Progress, "update", lambda _bar, _task, **named: told.append(tuple(named.values()))
    )
    assert run("breakeven", least, "--key", "money.price", "--key", "money.land")[0] == 0
    assert told == [(1, 2), (2, 2)]


# The input cannot be used


def least_but(old, new):
    assert old in LEAST
    return LEAST.replace(old, new).encode()


def least_and(*lines):
    return "\n".join([LEAST, *lines, ""]).encode()


def overriding(**settings):
    keys = {key.replace("__", "."): value for key, value in settings.items()}
    return least_and("[overrides]", *(f'"{key}" = {value}' for key, value in keys.items()))


CENTURIES = {
    f"activity__{name}__{field}": figure
    for name in ("mist", "kitchens", "joinery")
    for field, figure in (("hours", 10000), ("gang", 1), ("most", 1))
}
REFUSED = {
    "an empty file": (b"", "the file is empty"),
    "a binary file": (b"\x7fELF\x00\x01" * 50, "this is a binary file, not text"),
    "a picture": (b"\x89PNG\r\n\x1a\n" + bytes(range(256)), "this is a binary file, not text"),
    "no TOML": (b"{'a': 1}", "line 1"),
    "no blocks": (SITE.encode(), "blocks"),
    "no development": (EAST.encode(), "development: this table is missing"),
    "text for a number": (least_but("storeys = 3", 'storeys = "three"'), ".storeys: "),
    "a list for a table": (b"development = [1, 2]\n" + EAST.encode(), "development"),
    "a number for a name": (least_but('"Sample Yard"', "7"), "development.name: "),
    "negative storeys": (least_but("storeys = 3", "storeys = -3"), "-3 is outside 1 to 60 storeys"),
    "400 storeys": (least_but("storeys = 3", "storeys = 400"), "400 is outside 1 to 60 storeys"),
    "half a storey": (least_but("storeys = 3", "storeys = 2.5"), ".storeys: "),
    "an unknown place": (least_but("london", "atlantis"), "'atlantis' is not one of london,"),
    "a date that cannot be": (least_but("04-05", "02-30"), "2027-02-30 is not a date"),
    "a date long ago": (least_but("2027", "1066"), "development.start: "),
    "a date far ahead": (least_but("2027", "2345"), "development.start: "),
    "not a number": (least_but("= 4\n", "= nan\n"), "nan is not a finite number"),
    "infinity": (least_and("[money]", "price = inf"), "inf is not a finite number"),
    "minus infinity": (least_and("storey_height_m = -inf"), "-inf is not a finite number"),
    "a thousand lists in lists": (b"x = " + b"[" * 1000 + b"]" * 1000, "more than 12 deep"),
    "a hundred thousand lists": (b"x = " + b"[" * 100_000, "more than 12 deep"),
    "tables in tables": (b"[" + b".".join([b"a"] * 40) + b"]\n", "more than 12 deep"),
    "an unknown record": (overriding(crane__colour=1), "the library has no such key"),
    "no one in a gang": (overriding(activity__mist__gang=0), "0 is outside 0.1 to"),
    "no gangs at all": (overriding(trade__carpenters__gangs=0), "0 is outside 1 to"),
    "a day without hours": (overriding(site__productive_hours=0), "0 is outside 0.75 to"),
    "an empty lorry": (overriding(delivery__slab_concrete__per_load=0), "0 is outside 0.6 to"),
    "no room": (overriding(geometry__slab_thickness=3.5), "below 0. Check storey height 3 m"),
    "too few deck sets": (overriding(option__deck__loose_props__sets=1), "the next deck waits for ever"),
    "work for centuries": (overriding(**CENTURIES), "The programme is not finished after 15 years"),
}


@pytest.mark.parametrize("what", REFUSED)
def test_a_scenario_is_refused_with(what, run, least, tmp_path):
    content, said = REFUSED[what]
    least.write_bytes(content)
    for command in (
        ["check", least],
        ["compare", least, "--json", tmp_path / "out.json"],
        ["breakeven", least, "--json", tmp_path / "even.json"],
        ["audit", least, "--out", tmp_path / "pack"],
    ):
        code, out, err = run(*command)
        assert (code, out) == (2, ""), command[0]
        assert said in err
        assert len(err.splitlines()) == 1, err
    assert left_in(tmp_path) == ["in"]


def test_five_mistakes_are_five_lines_and_nothing_is_written(run, least, tmp_path):
    least.write_text(FIVE_MISTAKES)
    for command in (
        ["check", least],
        ["compare", least, "--json", tmp_path / "out.json"],
        ["compare", least, "--json", "-"],
        ["audit", least, "--out", tmp_path / "pack"],
    ):
        code, out, err = run(*command)
        assert (code, out) == (2, ""), command[0]
        lines = err.splitlines()
        assert len(lines) == 5
        for begin in FIVE_ARE:
            assert sum(line.startswith(begin) for line in lines) == 1, begin
    assert left_in(tmp_path) == ["in"]


def test_a_refused_scenario_leaves_an_older_file_as_it_was(run, least, tmp_path):
    (tmp_path / "out.json").write_text("old")
    least.write_text(FIVE_MISTAKES)
    assert run("compare", least, "--json", tmp_path / "out.json")[0] == 2
    assert (tmp_path / "out.json").read_text() == "old"


def test_a_file_of_fifty_megabytes_is_refused_unread(run, tmp_path):
    file = tmp_path / "large.toml"
    with file.open("wb") as large:
        large.truncate(50_000_000)
    code, out, err = run("check", file)
    assert (code, out) == (2, "")
    assert "the file holds 50,000,000 bytes. A scenario file has at most 1,000,000 bytes" in err


def test_a_flood_on_standard_input_is_refused(run):
    code, out, err = run("compare", "-", stdin=b"# \n" * 700_000)
    assert (code, out) == (2, "")
    assert err.startswith("standard input: the file is too large.")


@pytest.mark.parametrize(
    ("name", "said"),
    [
        ("nowhere.toml", "there is no such file. Check the path and the spelling."),
        ("in", "is a folder. Name the scenario file inside it."),
        ("in/least.toml/x", "cannot be read (Not a directory)."),
        ("x" * 400, "cannot be read (File name too long)."),
    ],
)
def test_a_file_that_is_none_is_told(run, least, tmp_path, name, said):
    code, out, err = run("check", tmp_path / name)
    assert (code, out) == (2, "")
    assert said in err
    assert len(err.splitlines()) == 1


def test_a_file_that_may_not_be_read_is_told(run, least, monkeypatch):
    def closed(*_arguments, **_named):
        raise PermissionError(13, "Permission denied")

    monkeypatch.setattr(Path, "open", closed)
    code, out, err = run("check", least)
    assert (code, out) == (2, "")
    assert "this file may not be read. Ask for the right to read it, or copy it." in err


# What cannot be written


@pytest.mark.parametrize("place", ["in", "no/such/folder/out.json", "in/least.toml/out.json", "y" * 400, ""])
def test_json_that_cannot_be_written_leaves_nothing(run, least, tmp_path, place, monkeypatch):
    monkeypatch.chdir(tmp_path)
    code, out, err = run("compare", least, "--json", place)
    assert (code, out) == (2, "")
    assert err.startswith("--json ")
    assert "the file cannot be written (" in err
    assert err.endswith("Choose another name.\n")
    assert (left_in(tmp_path), left_in(tmp_path / "in")) == (["in"], ["least.toml"])


def test_json_to_a_device_does_not_put_a_file_in_its_place(run, least, monkeypatch):
    def refuse(*_arguments):
        raise AssertionError("a device was to be replaced")

    monkeypatch.setattr(cli.os, "replace", refuse)
    assert run("compare", least, "--json", os.devnull)[0] == 0


@pytest.mark.parametrize("place", ["in/least.toml", "in/least.toml/pack", "z" * 400])
def test_a_pack_that_cannot_be_written_leaves_nothing(run, least, tmp_path, place):
    code, out, err = run("audit", least, "--out", tmp_path / place)
    assert (code, out) == (2, "")
    assert err.startswith("--out ")
    assert "the folder cannot be written (" in err
    assert (left_in(tmp_path), left_in(tmp_path / "in")) == (["in"], ["least.toml"])
    assert least.read_text() == LEAST


def test_a_pack_whose_disk_is_full_leaves_nothing(run, least, tmp_path, monkeypatch):
    import model.report.audit as audit

    written = []

    def full(table, path):
        written.append(path)
        if len(written) > 5:
            raise OSError(28, "No space left on device")
        path.write_text("x")

    monkeypatch.setattr(audit, "_write", full)
    code, out, err = run("audit", least, "--out", tmp_path / "pack")
    assert (code, out) == (2, "")
    assert "the folder cannot be written (No space left on device)" in err
    assert left_in(tmp_path) == ["in"]


# Arguments


@pytest.mark.parametrize(
    "arguments",
    [
        ["compare"],
        ["audit", "x.toml"],
        ["compare", "x", "--jsn", "y"],
        ["bake", "x"],
        ["breakeven", "x", "--of", "y"],
    ],
)
def test_arguments_that_cannot_be_used_end_with_two(arguments, capsys):
    with pytest.raises(SystemExit, match=r"^2$"):
        cli.main(arguments)
    out, err = capsys.readouterr()
    assert out == ""
    assert err.startswith("usage: storeypace")


def test_help_names_every_command(capsys):
    with pytest.raises(SystemExit, match=r"^0$"):
        cli.main(["--help"])
    out = capsys.readouterr().out
    named = {line.split()[0] for line in out.splitlines() if line.startswith("    ")}
    assert named >= {"page", "check", "compare", "breakeven", "audit"}


def test_a_bug_shows_as_one(run, least, monkeypatch):
    """Anything that is not a problem of the input is let through, for Python to end with 1."""

    def broken(_scenario):
        raise ZeroDivisionError("a bug")

    monkeypatch.setattr("model.compare_methods", broken)
    with pytest.raises(ZeroDivisionError, match="a bug"):
        run("check", least)


# In a process of its own

BLOCKED = """
import runpy, sys
for name in ("streamlit", "plotly", "scipy.stats"):
    sys.modules[name] = None
from dashboard.cli import main
file, figures, pack = sys.argv[1:]
codes = [main(["check", file]), main(["compare", file, "--json", figures])]
codes += [main(["breakeven", file, "--key", "money.price"]), main(["audit", file, "--out", pack])]
loaded = {name.split(".")[0] for name, module in sys.modules.items() if module}
faces = sorted(loaded & {"streamlit", "plotly"})
print("codes", codes, "faces", faces, "then:")
sys.argv = ["storeypace", "compare", "-", "--json", "-"]
del sys.modules["dashboard.cli"]
runpy.run_module("dashboard.cli", run_name="__main__")
"""


def test_a_process_needs_neither_page_nor_charts_nor_statistics_and_ends_with_the_status(least, tmp_path):
    """Four commands with those imports blocked, on a terminal without a pound sign; then five mistakes."""
    done = subprocess.run(
        [sys.executable, "-c", BLOCKED, str(least), str(tmp_path / "out.json"), str(tmp_path / "pack")],
        cwd=ROOT,
        env={**os.environ, "PYTHONPATH": str(ROOT), "PYTHONIOENCODING": "ascii"},
        input=FIVE_MISTAKES,
        capture_output=True,
        text=True,
        check=False,
        timeout=300,
    )
    assert done.stdout.startswith("no problems\n"), done.stderr
    assert done.stdout.endswith("codes [0, 0, 0, 0] faces [] then:\n")
    assert (tmp_path / "pack" / "differences.csv").exists()
    assert json.loads((tmp_path / "out.json").read_text("utf-8"))["methods"]
    assert done.returncode == 2
    lines = done.stderr.splitlines()
    assert len(lines) == 5
    assert all(any(line.startswith(begin) for line in lines) for begin in FIVE_ARE)
