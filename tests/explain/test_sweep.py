"""A grid of scenarios: every row as `compare` has it, the same whoever works it, and none worked twice."""

import csv
import io
import multiprocessing
import sys
import types
from concurrent.futures import ThreadPoolExecutor
from dataclasses import replace

import pytest

from model import compare_methods
from model.core.errors import ScenarioError
from model.explain import sweep as sweep_module
from model.explain.sweep import (
    OF_DIFFERENCE,
    OF_METHOD,
    Axis,
    Grid,
    Task,
    changed,
    check_grid,
    columns,
    read_axis,
    read_grid,
    run_many,
    work_row,
)
from model.explain.sweep_file import part_of, write_sweep
from model.explain.workers import mapping, processes

PANELS = "option.outer_wall.panel_before_deck.rate"
GRID = Grid((Axis(PANELS, (380.0, 520.0)), Axis("factory.lead", (12.0, 30.0, 20.5))))


@pytest.fixture
def scenario(compared):
    return compared("two_storey").scenario


@pytest.fixture(scope="module")
def uninterrupted(compared, tmp_path_factory):
    """The bytes of the grid, worked in one go."""
    out = tmp_path_factory.mktemp("sweep") / "rows.csv"
    assert write_sweep(compared("two_storey").scenario, GRID, out) == (0, 0)
    return out.read_bytes()


def cells(content):
    return list(csv.DictReader(io.StringIO(content.decode())))


# Inputs


@pytest.mark.parametrize(
    ("text", "axis"),
    [
        ("money.debt_rate_pct=6:10:5", Axis("money.debt_rate_pct", (6.0, 7.0, 8.0, 9.0, 10.0))),
        (
            "site.rework=0:0.3:4",
            Axis("site.rework", (0.0, 0.1, 0.2, 0.3)),
        ),  # as written, not 0.30000000000000004
        ("factory.order=10:-10:2", Axis("factory.order", (10.0, -10.0))),
        ("blocks.A=B.storeys=3:3:1", Axis("blocks.A=B.storeys", (3.0,))),
        ("money.land=6e4", Axis("money.land", (60_000.0,))),
    ],
)
def test_an_input_and_its_values(text, axis):
    assert read_axis(text) == axis


@pytest.mark.parametrize(
    "text",
    ["money.land", "=1:2:3", "money.land=1:2", "money.land=1:2:0", "money.land=1:2:1", "a=1:inf:3", "a=x"],
)
def test_what_is_no_input_with_values_is_refused(text):
    with pytest.raises(
        ScenarioError, match=r"--vary .*: this is no input with its values. It is written KEY="
    ):
        read_axis(text)


def test_the_last_input_goes_fastest():
    grid = Grid((Axis("a", (1.0, 2.0)), Axis("b", (3.0, 4.0, 5.0))))
    assert grid.size == 6
    assert list(grid.rows()) == [(1, 3), (1, 4), (1, 5), (2, 3), (2, 4), (2, 5)]


def test_every_problem_of_a_grid_is_told_at_once(scenario):
    with pytest.raises(ScenarioError) as caught:
        read_grid(
            scenario,
            [
                "money.pric=1:2:2",
                "blocks.Onyl.storeys=2:3:2",
                "blocks.Only.storeys=2:3:3",
                "cranes.Only.numbr=1",
                "methods.panelised.money.lnd=5",
                "x",
                "money.land=1",
                "money.land=2",
            ],
        )
    said = [str(problem) for problem in caught.value.problems]
    assert len(said) == 7
    for words in (
        "--vary money.pric: this key is not known. The nearest known one is 'money.price'. What can be "
        "varied: any library record, blocks.NAME.storeys and other figures of a block, cranes.NAME.number,",
        "--vary blocks.Onyl.storeys: this key is not known. The nearest known one is 'blocks.Only.storeys'.",
        "--vary blocks.Only.storeys: 2.5 is no whole number.",
        "The nearest known one is 'cranes.Only.number'.",
        "The nearest known one is 'methods.panelised.money.land'.",
        "--vary x: this is no input with its values.",
        "--vary money.land: it is varied twice.",
    ):
        assert sum(words in line for line in said) == 1, words


def test_a_grid_that_changes_nothing_or_never_ends_is_refused(scenario):
    methods = tuple(replace(m, overrides=(("money.price", (7000.0, "")),)) for m in scenario.methods)
    own = scenario.with_changes(methods=methods)
    with pytest.raises(ScenarioError, match=r"every method sets its own value.*Vary methods.panelised.money"):
        check_grid(own, Grid((Axis("money.price", (1.0, 2.0)),)))
    check_grid(own, Grid((Axis("methods.panelised.money.price", (1.0, 2.0)),)))
    long = tuple(Axis(key, tuple(map(float, range(1, 1002)))) for key in ("money.price", "money.land"))
    with pytest.raises(ScenarioError, match=r"the grid has 1,002,001 rows. 1,000,000 can be worked at most"):
        check_grid(scenario, Grid(long))
    with pytest.raises(ScenarioError, match=r"nothing is varied"):
        check_grid(scenario, Grid(()))


def test_records_blocks_cranes_and_one_method_alone_are_set(scenario):
    keys = ("money.land", "blocks.Only.storeys", "blocks.Only.glazing_pct", "cranes.Only.number",
            "methods.panelised.money.price")  # fmt: skip
    found = changed(scenario, keys, (1.0, 3.0, 30.5, 2.0, 7000.0))
    assert dict(found.overrides)["money.land"][0] == 1.0
    assert (found.blocks[0].storeys, found.blocks[0].glazing_pct) == (3, 30.5)
    assert [(crane.name, crane.number) for crane in found.cranes] == [("Only", 2)]
    assert [dict(method.overrides).get("money.price", (None,))[0] for method in found.methods] == [
        None,
        7000.0,
    ]
    assert changed(scenario, ("money.price",), (6500.0,)).fingerprint() == scenario.fingerprint()


# Rows


def test_a_row_is_what_compare_says_of_its_scenario(scenario, uninterrupted):
    row = cells(uninterrupted)[4]
    assert (row[PANELS], row["factory.lead"]) == ("520", "30")
    comparison = compare_methods(scenario.with_override(PANELS, 520.0).with_override("factory.lead", 30.0))
    figures = comparison.as_json()
    for name, method in figures["methods"].items():
        for column in OF_METHOD:
            assert float(row[f"{name}.{column}"]) == method[column], column
    for column in OF_DIFFERENCE:
        assert float(row[f"difference.{column}"]) == pytest.approx(figures["difference"][column], rel=1e-12)
    assert row["problem"] == ""
    assert tuple(row) == columns(scenario, GRID)


def test_a_row_that_cannot_be_worked_out_has_its_reason_and_no_figures(scenario):
    row = work_row(Task(scenario, ("blocks.Only.storeys",), (0.0,)))
    assert len(row) == len(columns(scenario, Grid((Axis("blocks.Only.storeys", (0.0,)),))))
    assert row[0] == "0"
    assert set(row[1:-1]) == {""}
    assert row[-1].startswith("blocks[1] 'Only'.storeys: 0 is outside 1 to 60 storeys.")
    alone = tuple(f"activity.kitchens.{field}" for field in ("hours", "gang", "most"))
    late = work_row(Task(scenario, alone, (10_000.0, 1.0, 1.0)))
    assert late[-1].startswith("The programme is not finished after 15 years")
    assert "\n" not in late[-1]


def test_a_rate_of_return_that_cannot_be_had_is_empty_with_its_reason(scenario):
    keys = ("methods.panelised.money.price",)
    row = dict(
        zip(
            columns(scenario, Grid((Axis(keys[0], (500.0,)),))),
            work_row(Task(scenario, keys, (500.0,))),
            strict=True,
        )
    )
    assert row["panelised.irr_pct"] == ""
    assert float(row["panelised.profit"]) < 0
    assert row["problem"].startswith("panelised: no internal rate of return: ")


# Whoever works it


def test_several_processes_give_the_same_bytes(scenario, tmp_path, uninterrupted, monkeypatch):
    # a page under test leaves its own script as the main module, which new processes would run again
    monkeypatch.setitem(sys.modules, "__main__", types.ModuleType("__main__"))
    with processes(2) as worked_by:
        write_sweep(scenario, GRID, tmp_path / "rows.csv", map=worked_by, batch=4)
    assert (tmp_path / "rows.csv").read_bytes() == uninterrupted
    assert multiprocessing.active_children() == []


def test_an_executor_gives_the_same_bytes(scenario, tmp_path, uninterrupted):
    with ThreadPoolExecutor(2) as pool:
        write_sweep(scenario, GRID, tmp_path / "rows.csv", map=mapping(pool), batch=3)
    assert (tmp_path / "rows.csv").read_bytes() == uninterrupted


def test_a_cluster_gives_the_same_bytes(scenario, tmp_path, uninterrupted):
    distributed = pytest.importorskip("distributed")
    with (
        distributed.LocalCluster(n_workers=1, processes=False, dashboard_address=None) as cluster,
        distributed.Client(cluster) as client,
    ):
        write_sweep(scenario, GRID, tmp_path / "rows.csv", map=mapping(client), batch=6)
    assert (tmp_path / "rows.csv").read_bytes() == uninterrupted


def test_rows_come_in_order_and_in_batches(scenario, monkeypatch):
    monkeypatch.setattr(sweep_module, "work_row", lambda task: tuple(map(str, task.values)))
    batches = []

    def worked_by(function, tasks):
        batches.append(len(tasks))
        return [function(task) for task in tasks]

    rows = list(run_many(scenario, GRID, map=worked_by, skip=1, batch=2))
    assert batches == [2, 2, 1]
    assert rows == [tuple(map(str, values)) for values in list(GRID.rows())[1:]]


# Broken off


class Broken(Exception):
    """The machine stops."""


def until(rows, asked):
    """A map that works some rows and then stops; `asked` notes the rows it was asked for."""

    def worked_by(function, tasks):
        for task in tasks:
            if len(asked) == rows:
                raise Broken
            asked.append(task.values)
            yield function(task)

    return worked_by


def test_a_run_that_was_broken_off_carries_on_and_works_no_row_twice(scenario, tmp_path, uninterrupted):
    out, asked, told = tmp_path / "rows.csv", [], []
    with pytest.raises(Broken):
        write_sweep(scenario, GRID, out, map=until(2, asked))
    assert not out.exists()
    part = part_of(out)
    begun = part.read_bytes()
    assert uninterrupted.startswith(begun.split(b"\n", 1)[1])
    assert begun.count(b"\n") == 4  # what it is of, the heads, two rows
    later = []
    done = write_sweep(scenario, GRID, out, map=until(99, later), progress=lambda n, of: told.append((n, of)))
    assert done == (0, 2)
    assert asked + later == list(GRID.rows())
    assert told == [(n, 6) for n in range(2, 7)]
    assert out.read_bytes() == uninterrupted
    assert [path.name for path in tmp_path.iterdir()] == ["rows.csv"]


@pytest.mark.parametrize("cut", [1, 30, 200])
def test_half_a_line_is_dropped_and_worked_again(scenario, tmp_path, uninterrupted, cut):
    out, later = tmp_path / "rows.csv", []
    with pytest.raises(Broken):
        write_sweep(scenario, GRID, out, map=until(3, []))
    part = part_of(out)
    part.write_bytes(part.read_bytes()[:-cut])
    write_sweep(scenario, GRID, out, map=until(99, later))
    assert later == list(GRID.rows())[2:]
    assert out.read_bytes() == uninterrupted


@pytest.mark.parametrize("size", [0, 10, 100, 400])
def test_a_part_without_a_row_is_begun_anew(scenario, tmp_path, uninterrupted, size):
    out = tmp_path / "rows.csv"
    with pytest.raises(Broken):
        write_sweep(scenario, GRID, out, map=until(0, []))
    part = part_of(out)
    part.write_bytes(part.read_bytes()[:size])
    assert write_sweep(scenario, GRID, out) == (0, 0)
    assert out.read_bytes() == uninterrupted


def test_a_part_of_another_scenario_or_grid_is_refused_and_left_alone(scenario, tmp_path):
    out = tmp_path / "rows.csv"
    with pytest.raises(Broken):
        write_sweep(scenario, GRID, out, map=until(1, []))
    before = part_of(out).read_bytes()
    other = Grid((GRID.axes[0], Axis("factory.lead", (12.0, 30.0, 21.0))))
    for one, grid in ((scenario.with_override("money.price", 6501.0), GRID), (scenario, other)):
        with pytest.raises(ScenarioError, match=r"its rows are of another scenario, another grid or another"):
            write_sweep(one, grid, out)
    (tmp_path / "rows.csv.part").write_bytes(before.replace(b"\n380,12,", b"\n380,13,"))
    with pytest.raises(
        ScenarioError, match=r"the row 380,13 does not belong there.*Remove this file to begin"
    ):
        write_sweep(scenario, GRID, out)
    assert not out.exists()


def test_problems_from_before_count_too(scenario, tmp_path):
    out, grid = tmp_path / "rows.csv", Grid((Axis("blocks.Only.storeys", (0.0, 2.0, 99.0)),))
    with pytest.raises(Broken):
        write_sweep(scenario, grid, out, map=until(1, []))
    assert write_sweep(scenario, grid, out) == (2, 1)
    assert [bool(row["problem"]) for row in cells(out.read_bytes())] == [True, False, True]


def test_two_sweeps_do_not_write_one_file(scenario, tmp_path):
    pytest.importorskip("fcntl")
    out, said = tmp_path / "rows.csv", []

    def meanwhile(function, tasks):
        with pytest.raises(ScenarioError) as caught:
            write_sweep(scenario, GRID, out)
        said.append(str(caught.value))
        raise Broken

    with pytest.raises(Broken):
        write_sweep(scenario, GRID, out, map=meanwhile)
    assert "another sweep is writing it" in said[0]


def test_what_is_no_file_to_write_is_refused(scenario, tmp_path):
    for out in (tmp_path, tmp_path / "no" / "rows.csv"):
        with pytest.raises(ScenarioError, match=r"the file cannot be written \(.*Choose another name"):
            write_sweep(scenario, GRID, out)
    assert list(tmp_path.iterdir()) == []


def test_a_link_stays_a_link(scenario, tmp_path, uninterrupted):
    real = tmp_path / "real.csv"
    real.write_text("old")
    link = tmp_path / "link.csv"
    link.symlink_to(real)
    write_sweep(scenario, GRID, link)
    assert link.is_symlink()
    assert real.read_bytes() == uninterrupted


def test_an_error_of_a_worker_is_no_error_of_the_file(scenario, tmp_path):
    def lost(_function, _tasks):
        raise ConnectionError("the worker is gone")

    with pytest.raises(ConnectionError, match="the worker is gone"):
        write_sweep(scenario, GRID, tmp_path / "rows.csv", map=lost)
