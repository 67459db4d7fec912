"""The audit pack holds what it promises, and the re-checker that says so would see a fault.

Rules checked are those of the model's own page (chapters 4 to 6 and 9). Mutations are planted in the
scheduler, which then truly works by the wrong rule, and in the files; each must be caught by name.
"""

from __future__ import annotations

import ast
import importlib.util
import sys
from dataclasses import replace
from pathlib import Path

import numpy as np
import pandas as pd
import pytest

import model.pipeline as pipeline
import model.programme.plan as plan_module
from model.compare import Case
from model.inputs.assumption import read_library
from model.inputs.reading import read_scenario
from model.money import common_grid, price
from model.report.audit import audit_tables
from model.site import operate

CHECKER = Path(__file__).with_name("recheck.py")
SITE = '[development]\nname = "Check"\nplace = "glasgow"\nstart = 2027-10-04\nterrain = "open"\n'
BLOCKS = '[[blocks]]\nname = "A"\nstoreys = 6\nflats_per_storey = 9\n[[blocks]]\nname = "B"\nstoreys = 6\n'
WINDY = (
    f'{SITE}{BLOCKS}flats_per_storey = 9\n[[cranes]]\nname = "One"\nblocks = ["A", "B"]\n'
    '[overrides]\n"weather.gust_limit_large" = 8\n"activity.panel_set.hook" = 25\n'
)


def _load():
    spec = importlib.util.spec_from_file_location("recheck", CHECKER)
    module = importlib.util.module_from_spec(spec)
    sys.modules["recheck"] = module
    spec.loader.exec_module(module)
    return module


check = _load()


@pytest.fixture(scope="module")
def pitch(pack_folder):
    """The pack of the panels of the pitch, to be tampered with."""
    return check.read_pack(pack_folder("pitch") / "panelised")


@pytest.fixture(scope="module")
def windy():
    return read_scenario(WINDY)


def pack_of(scenario, method, folder):
    """Plan, operate, price and write one method, through whatever has been planted."""
    plan = pipeline.plan_method(scenario, scenario.method(method))
    site = operate(plan)
    case = Case(plan.method, plan.takeoff, plan, site, price(plan, site, common_grid([plan])))
    for name, table in audit_tables(case).items():
        table.to_csv(folder / name, index=False, float_format="%.6f")
    return check.read_pack(folder)


def test_the_checker_imports_nothing_of_the_model():
    tree = ast.parse(CHECKER.read_text(encoding="utf-8"))
    names = {alias.name for node in ast.walk(tree) if isinstance(node, ast.Import) for alias in node.names}
    names |= {node.module for node in ast.walk(tree) if isinstance(node, ast.ImportFrom)}
    assert {name.split(".")[0] for name in names} == {"sys", "collections", "pathlib", "numpy", "pandas"}


@pytest.mark.parametrize("method", ["open_frame", "panelised"])
@pytest.mark.parametrize("scenario", ["two_storey", "pitch"])
def test_everything_holds_in_a_pack(pack_folder, scenario, method):
    assert check.recheck(check.read_pack(pack_folder(scenario) / method)) == []


def test_everything_holds_under_one_overloaded_crane(windy, tmp_path):
    pack = pack_of(windy, "panelised", tmp_path)
    assert check.recheck(pack) == []
    hook = pack["hook"]
    full = hook["large_used"] > 0.99 * hook["large_available"]
    assert (full & (hook["large_used"] > 0.5)).sum() > 20  # the wind limit of panels does bind here


# Faults planted in the scheduler. Places of the arguments of `run_days`.
LAG, LAG_KIND, SHARE, RELEASE, HOOK_ORDINARY, HOOK_LARGE = 10, 11, 13, 16, 17, 18


def _with(place, change):
    def planted(run_days, arguments):
        changed = list(arguments)
        changed[place] = change(changed)
        return run_days(*changed)

    return planted


def _one_gang_called_two(run_days, arguments):
    status, ready, start, finish, gang, *rest = run_days(*arguments)
    return status, ready, start, finish, np.where(gang >= 0, gang - gang % 2, gang), *rest


FAULTY_SCHEDULERS = {
    "ignores the wind limit of large loads": (
        _with(HOOK_LARGE, lambda arguments: arguments[HOOK_ORDINARY].copy()),
        "large loads fly beyond their hours",
    ),
    "ignores the hours of the hook": (
        _with(HOOK_ORDINARY, lambda arguments: arguments[HOOK_ORDINARY] + 3.0),
        "the hook works beyond its hours",
    ),
    "ignores every lag": (
        _with(LAG, lambda arguments: np.zeros_like(arguments[LAG])),
        "a link is not kept: calendar lag",
    ),
    "takes working days for days": (
        _with(LAG_KIND, lambda arguments: np.where(arguments[LAG_KIND] == 1, 0, arguments[LAG_KIND])),
        "a link is not kept: working lag",
    ),
    "strikes and releases a day early": (
        _with(RELEASE, lambda arguments: arguments[RELEASE] - 1.0),
        "a link is not kept: release",
    ),
    "works on closed days": (
        _with(SHARE, lambda arguments: np.maximum(arguments[SHARE], 0.1)),
        "work on a closed date",
    ),
    "works faster than the weather lets it": (
        _with(SHARE, lambda arguments: np.where(arguments[SHARE] > 0, 1.0, 0.0)),
        "more work than the date allows",
    ),
    "sends a gang to two places": (_one_gang_called_two, "a gang is in two places"),
}


@pytest.mark.parametrize("fault", FAULTY_SCHEDULERS)
def test_a_scheduler_is_caught_that(fault, windy, tmp_path, monkeypatch):
    planted, said = FAULTY_SCHEDULERS[fault]
    run_days = plan_module.run_days
    monkeypatch.setattr(plan_module, "run_days", lambda *arguments: planted(run_days, arguments))
    found = check.recheck(pack_of(windy, "panelised", tmp_path))
    assert any(said in problem for problem in found), found


def test_a_scheduler_is_caught_that_lets_a_gang_start_before_its_task_is_ready(pitch):
    tasks = pitch["tasks"].copy()
    links = pitch["links"]
    held = links[links["lag"] == "0.000000"].iloc[len(links) // 4]
    tasks.loc[tasks["task"] == held["after"], "start"] = pitch.finish[held["before"]] - 0.02
    found = check.recheck(pitch.with_frame("tasks", tasks))
    assert any("a link is not kept: calendar lag" in problem for problem in found), found


def _add(column, amount, where=None):
    def change(frame):
        row = frame.index[where(frame)][0] if where else frame.index[len(frame) // 2]
        frame.loc[row, column] += amount
        return frame

    return change


def _put(column, value, where):
    def change(frame):
        frame.loc[frame.index[where(frame)][0], column] = value
        return frame

    return change


def _has_work(frame):
    return frame["work_days"] > 1


def _lifts(frame):
    return frame["hook_hours"] > 0.2


def _any(frame):
    return frame[frame.columns[0]] != ""


TAMPERED = {
    "a task twice as large": ("tasks", _add("amount", 5.0, _has_work), "amount is not the quantity"),
    "a task done in less": ("tasks", _add("work_days", -0.5, _has_work), "shifts do not follow from amount"),
    "half a gang more": ("tasks", _add("people", 1.0, _has_work), "people are no whole gangs"),
    "a lift less": ("tasks", _add("hook_hours", -0.1, _lifts), "hook hours do not follow from lifts"),
    "a dearer task": ("tasks", _add("cost", 900.0, _has_work), "construction and premium: "),
    "a task with no gang": ("tasks", _put("gang", "", _has_work), "a task with work has no gang"),
    "a lift of no class": (
        "tasks", _put("lift_class", "", _lifts), "a lift has no crane or class",
    ),
    "days that are not worked": ("tasks", _add("operative_days", 3.0, _has_work), "not people times shifts"),
    "progress lost": ("progress", lambda f: f.drop(f.index[40]), "progress does not add up to work_days"),
    "progress on another date": (
        "progress", _put("date", "2027-12-26", lambda f: f["date"] > "2028"), "work outside start and finish",
    ),
    "a longer lag": (
        "links", _put("lag", "400.0", lambda f: f["lag_kind"] == "calendar"), "not kept: calendar lag",
    ),
    "a link to nowhere": ("links", _put("before", "x/1/1/y", _any), "a link names no task"),
    "a link without a cause": ("links", _put("cause", "luck", _any), "no known cause"),
    "hook hours unaccounted": ("hook", _add("ordinary_used", 0.5), "ordinary hook hours are not those"),
    "large flying when nothing may": ("hook", _add("large_available", 9.0), "large loads may fly longer"),
    "a lorry with nothing on it": ("loads", _add("loads", 1.0), "vehicles are not the amount over the load"),
    "two lorries half full": (
        "loads",
        lambda f: pd.concat([f.iloc[1:], *[f.iloc[:1].assign(amount=f["amount"][0] / 2)] * 2]),
        "vehicles come, ",
    ),
    "a lorry never called": ("loads", lambda f: f.drop(f.index[3]), " comes, the work takes "),
    "a lorry too late": (
        "loads",
        lambda f: f.assign(date=f["date"].where(f["delivery"] != "panels_outer", "2029-01-02")),
        "panels_outer in Heron: the first vehicle comes after the work",
    ),
    "a larger lorry": ("loads", _add("per_load", 1.0), "a load is neither a full one nor one called off"),
    "a man more": ("operatives", _add("operatives", 1.0), "operatives are not those of the tasks"),
    "a site cost rounded up": ("time_costs", _add("amount", 5.0), "a site cost is not weeks times rate"),
    "a site cost left out": ("time_costs", lambda f: f.drop(f.index[2]), "preliminaries: "),
    "interest forgiven": ("cashflow", _add("interest", -50.0), "interest is not the rate on the loan before"),
    "a pound from nowhere": ("cashflow", _add("drawn_debt", 1.0), "sources are not uses"),
    "a debt forgotten": ("cashflow", _add("debt", -1.0), "the loan does not follow"),
    "a month left out": ("cashflow", lambda f: f.drop(f.index[5]), "a month is missing"),
    "fees halved": ("cashflow", lambda f: f.assign(fees=f["fees"] / 2), "fees: "),
    "land for nothing": ("cashflow", lambda f: f.assign(land=0.0), "land: "),
    "a flat sold twice": ("receipts", _add("amount", 300_000.0), "receipts of month "),
    "a record lost": (
        "assumptions", lambda f: f[f["key"] != "activity.mist.most"], "activity.mist.most is missing",
    ),
    "a record without a source": (
        "assumptions", _put("source", "", lambda f: f["key"] == "site.rework"), "a record lacks its source",
    ),
    "a record beyond its range": (
        "assumptions", _put("high", 0.0, lambda f: f["key"] == "site.bays"), "outside its own range",
    ),
    "a figure that is none": ("tasks", _put("start", np.nan, _has_work), "holds no finite number in start"),
    "a column left out": ("hook", lambda f: f.drop(columns="large_used"), "hook.csv lacks large_used"),
}  # fmt: skip


@pytest.mark.parametrize("fault", TAMPERED)
def test_a_pack_is_caught_with(fault, pitch):
    file, change, said = TAMPERED[fault]
    frames = {**pitch.frames, file: change(pitch[file].copy())}
    try:
        tampered = check.Pack(frames)
        found = check.recheck(tampered)
    except KeyError as error:  # what is no longer there is the fault
        found = [f"{error.args[0]} is missing"]
    assert any(said in problem for problem in found), found


def test_assumptions_hold_every_record_as_the_method_uses_it(compared, pitch):
    table = pitch["assumptions"].set_index("key")
    assert set(table.index) == set(read_library().records)
    values = compared("pitch").second.plan.values
    for key, value in values.items():
        assert table.loc[key, "value"] == pytest.approx(value, abs=5e-7), key
    price = table.loc["money.price"]
    assert (price["value"], price["overridden"], price["shared"]) == (4900, "yes", "yes")
    assert price["why"] == "Invented for the demonstration."


def test_a_record_of_one_method_alone_is_not_shared(tmp_path):
    text = SITE + BLOCKS + 'flats_per_storey = 4\n[[methods]]\nid = "one"\nlike = "open_frame"\n'
    text += '[[methods]]\nid = "two"\nlike = "open_frame"\n[methods.overrides]\n"site.rework" = 0.05\n'
    table = pack_of(read_scenario(text), "two", tmp_path)["assumptions"].set_index("key")
    assert table.loc["site.rework", ["value", "shared", "overridden"]].tolist() == [0.05, "no", "yes"]
    assert (table.drop(index="site.rework")[["shared", "overridden"]] == ["yes", "no"]).all().all()


def test_differences_list_every_option_and_record_in_which_the_methods_differ(pack_folder):
    """Worked apart: from the options of tasks.csv, and the values and activities of the two methods."""
    top = pack_folder("pitch")
    listed = pd.read_csv(top / "differences.csv", keep_default_na=False)
    packs = [check.read_pack(top / method) for method in ("open_frame", "panelised")]
    options = [
        pack["tasks"].query("option != ''").groupby("element")["option"].agg(lambda o: set(o))
        for pack in packs
    ]
    differ = {e for e in options[0].index.union(options[1].index) if options[0].get(e) != options[1].get(e)}
    assert set(listed[listed["kind"] == "option"]["key"]) == differ
    assert differ == {"verticals", "deck", "outer_wall", "separating_wall"}

    activities = [set(pack["tasks"].query("quantity != ''")["activity"]) for pack in packs]
    keys = set(packs[0].value)
    owed = {key for key in keys for a in activities[0] ^ activities[1] if key.startswith(f"activity.{a}.")}
    owed |= {key for key in keys if packs[0].value[key] != packs[1].value[key]}
    records = set(listed[listed["kind"] == "record"]["key"])
    assert owed <= records
    shared = {key for key in keys for a in activities[0] & activities[1] if key.startswith(f"activity.{a}.")}
    assert not shared & records
    assert not {
        key for key in records if key.split(".")[0] in ("site", "wait", "approval", "concrete", "money")
    }


def test_a_pack_is_the_same_twice(windy, tmp_path):
    first, second = tmp_path / "1", tmp_path / "2"
    for folder in (first, second):
        folder.mkdir()
        pack_of(windy, "open_frame", folder)
    assert {p.name: p.read_bytes() for p in first.iterdir()} == {
        p.name: p.read_bytes() for p in second.iterdir()
    }


def test_methods_with_like_names_do_not_share_a_folder(windy):
    from model.report.audit import folder_names

    assert folder_names(["a b", "a_b", "A/b", "..", "é"]) == ["a_b", "a_b_2", "A_b_3", "method", "method_2"]
    renamed = replace(windy.methods[0], id="../up")
    assert "/" not in folder_names([renamed.id])[0]
