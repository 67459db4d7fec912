"""The audit pack holds what it promises, and the re-checker that says so would see a fault.

Rules checked are those of the model's own page (chapters 4 to 6 and 9). Mutations are planted in the
scheduler, which then truly works by the wrong rule, and in the files; each must be caught by name.
"""

from __future__ import annotations

import ast
import importlib.util
import inspect
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
BLOCKS = '[[blocks]]\nname = "A"\nstoreys = 5\nflats_per_storey = 9\n[[blocks]]\nname = "B"\nstoreys = 5\n'
WINDY = (
    f'{SITE}{BLOCKS}flats_per_storey = 9\n[[cranes]]\nname = "One"\nblocks = ["A", "B"]\n'
    '[overrides]\n"weather.gust_limit_large" = 8\n"activity.panel_set.hook" = 25\n"hoist.goods_hours" = 0.5\n'
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


def pack_of(scenario, method):
    """Plan, operate and price one method, through whatever has been planted, as files would hold it."""
    plan = pipeline.plan_method(scenario, scenario.method(method))
    site = operate(plan)
    case = Case(plan.method, plan.takeoff, plan, site, price(plan, site, common_grid([plan])))
    return check.Pack({name.removesuffix(".csv"): table for name, table in audit_tables(case).items()})


def test_the_checker_imports_nothing_of_the_model():
    tree = ast.parse(CHECKER.read_text(encoding="utf-8"))
    names = {alias.name for node in ast.walk(tree) if isinstance(node, ast.Import) for alias in node.names}
    names |= {node.module for node in ast.walk(tree) if isinstance(node, ast.ImportFrom)}
    assert {name.split(".")[0] for name in names} == {"sys", "collections", "pathlib", "numpy", "pandas"}


@pytest.mark.parametrize("method", ["open_frame", "panelised"])
@pytest.mark.parametrize("scenario", ["two_storey", "pitch"])
def test_everything_holds_in_a_pack(pack_folder, scenario, method):
    assert check.recheck(check.read_pack(pack_folder(scenario) / method)) == []


SPLIT = (
    f'{SITE}late_adoption = true\n[[blocks]]\nname = "A"\nstoreys = 8\nflats_per_storey = 9\nhoists = 2\n'
    + "".join(
        f"[[blocks.sections]]\nstoreys = [{first}, {last}]\nown_stair = true\nown_lift = true\n"
        "own_riser = true\nown_access = true\n"
        for first, last in ((1, 3), (4, 8))
    )
    + '[[blocks]]\nname = "B"\nstoreys = 7\nflats_per_storey = 18\n'
    'handover = "each core"\ncores = 2\nzones = 4\n'
    '[[cranes]]\nname = "One"\nblocks = ["A", "B"]\nnumber = 2\n'
    '[overrides]\n"crane.evening_hours" = 1.5\n"crane.skip_slabs" = 0.5\n"site.saturday_share" = 0.5\n'
)


@pytest.mark.parametrize("method", ["open_frame", "panelised"])
def test_everything_holds_with_sections_cranes_together_evenings_and_late_adoption(method):
    pack = pack_of(read_scenario(SPLIT), method)
    assert check.recheck(pack) == []
    assert pack["tasks"]["section"].nunique() == 6 + 1  # two blocks, two sections each, the site
    assert (pack["hook"]["evening_available"] > 0).any()


def test_everything_holds_under_one_overloaded_crane(windy):
    pack = pack_of(windy, "panelised")
    assert check.recheck(pack) == []
    hook = pack["hook"]
    full = hook["large_used"] > 0.99 * hook["large_available"]
    assert (full & (hook["large_used"] > 0.5)).sum() > 20  # the wind limit of panels does bind here


# Faults planted in the scheduler, by the place of the arguments of `run_days`.
_PLACES = list(inspect.signature(getattr(plan_module.run_days, "py_func", plan_module.run_days)).parameters)
LAG, LAG_KIND, SHARE, OPEN_DATES, RELEASE, HOOK_ORDINARY, HOOK_LARGE, HOISTS, CLEARED = (
    _PLACES.index(name)
    for name in (
        "lag", "lag_kind", "share", "open_dates", "release", "hook_ordinary", "hook_large", "hoist_available",
        "cleared_per_hour",
    )
)  # fmt: skip


def _with(place, change):
    def planted(run_days, arguments):
        changed = list(arguments)
        changed[place] = change(changed)
        return run_days(*changed)

    return planted


def _works_every_day(run_days, arguments):
    changed = list(arguments)
    changed[SHARE] = np.maximum(arguments[SHARE], 0.1)
    changed[OPEN_DATES] = np.ones_like(arguments[OPEN_DATES])
    return run_days(*changed)


def _one_gang_called_two(run_days, arguments):
    status, ready, start, finish, gang, *rest = run_days(*arguments)
    return status, ready, start, finish, np.where(gang >= 0, gang - gang % 2, gang), *rest


FAULTY_SCHEDULERS = {
    "ignores the wind limit of large loads": (
        _with(HOOK_LARGE, lambda arguments: arguments[HOOK_ORDINARY].copy()),
        "hook_classes_hold",
        "large loads fly beyond their hours",
    ),
    "ignores the hours of the hook": (
        _with(HOOK_ORDINARY, lambda arguments: arguments[HOOK_ORDINARY] + 3.0),
        "hook_classes_hold",
        "the hook works beyond its hours",
    ),
    "ignores every lag": (
        _with(LAG, lambda arguments: np.zeros_like(arguments[LAG])),
        "links_are_kept",
        "a link is not kept: calendar lag",
    ),
    "takes working days for days": (
        _with(LAG_KIND, lambda arguments: np.where(arguments[LAG_KIND] == 1, 0, arguments[LAG_KIND])),
        "links_are_kept",
        "a link is not kept: working lag",
    ),
    "strikes and releases a day early": (
        _with(RELEASE, lambda arguments: arguments[RELEASE] - 1.0),
        "links_are_kept",
        "a link is not kept: release",
    ),
    "works on closed days": (
        _works_every_day,
        "closed_days_are_kept",
        "work on a closed date",
    ),
    "works on a face while large loads fly over it": (
        _with(CLEARED, lambda arguments: 0.0),
        "closed_days_are_kept",
        "more work than the date allows",
    ),
    "ignores the hours of the hoists": (
        _with(HOISTS, lambda arguments: arguments[HOISTS] + 20.0),
        "hoists_hold",
        "a hoist works beyond its hours",
    ),
    "works faster than the weather lets it": (
        _with(SHARE, lambda arguments: np.where(arguments[SHARE] > 0, 1.0, 0.0)),
        "closed_days_are_kept",
        "more work than the date allows",
    ),
    "sends a gang to two places": (
        _one_gang_called_two,
        "gangs_are_in_one_place",
        "a gang is in two places",
    ),
}


@pytest.mark.parametrize("fault", FAULTY_SCHEDULERS)
def test_a_scheduler_is_caught_that(fault, windy, monkeypatch):
    planted, name, said = FAULTY_SCHEDULERS[fault]
    run_days = plan_module.run_days
    monkeypatch.setattr(plan_module, "run_days", lambda *arguments: planted(run_days, arguments))
    found = list(getattr(check, name)(pack_of(windy, "panelised")))
    assert any(said in problem for problem in found), found


def test_a_scheduler_is_caught_that_lets_a_gang_start_before_its_task_is_ready(pitch):
    tasks = pitch["tasks"].copy()
    links = pitch["links"]
    held = links[links["lag"] == "0.000000"].iloc[len(links) // 4]
    tasks.loc[tasks["task"] == held["after"], "start"] = pitch.finish[held["before"]] - 0.02
    found = list(check.links_are_kept(pitch.with_frame("tasks", tasks)))
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


def _later(frame):
    return frame.assign(date=frame["date"].where(frame["delivery"] != "panels_outer", "2029-01-02"))


def _half_full(frame):
    half = frame.iloc[:1].assign(amount=frame["amount"].iloc[0] / 2)
    return pd.concat([frame.iloc[1:], half, half])


TAMPERED = {
    # the check that must see it: what is done to which file, and what is said
    "links_are_kept": [
        ("links", _put("lag", "400.0", lambda f: f["lag_kind"] == "calendar"), "not kept: calendar lag"),
        ("links", _put("lag", "90.0", lambda f: f["lag_kind"] == "working"), "not kept: working lag"),
        ("links", _put("before", "x/1/1/y", _any), "a link names no task"),
        ("links", _put("cause", "luck", _any), "a link has no known cause"),
        ("release", lambda f: f.assign(days=f["days"] + 1), "not kept: release"),
    ],
    "gangs_are_in_one_place": [
        ("tasks", _put("gang", "", _has_work), "a task with work has no gang"),
        ("tasks", lambda f: f.assign(gang=f["gang"].replace("G5", "G4")), "a gang is in two places"),
        ("tasks", lambda f: f.assign(gang=f["gang"].replace("G1", "G40")), "a gang works for two trades"),
    ],
    "hook_classes_hold": [
        ("hook", _add("large_available", 9.0), "large loads may fly longer"),
        ("hook", _add("large_used", 9.0), "large loads fly beyond their hours"),
        ("hook", _add("ordinary_used", 9.0), "the hook works beyond its hours"),
    ],
    "hook_is_what_moved": [
        ("hook", _add("ordinary_used", 0.5), "ordinary hook hours are not those of the tasks"),
        ("hook", _add("large_used", 0.5), "large hook hours are not those of the tasks"),
        ("tasks", _put("lift_class", "", _lifts), "a lift has no crane or class"),
    ],
    "hoists_hold": [
        ("hoist", _add("used", 30.0), "a hoist works beyond its hours"),
        ("hoist", _add("used", 0.5), "hoist hours are not those of the tasks"),
        ("progress", _add("hoist_hours", 0.2), "hoist hours do not follow the work"),
    ],
    "closed_days_are_kept": [
        (
            "progress",
            _put("date", "2027-12-26", lambda f: f["date"] > "2028"),
            "work outside start and finish",
        ),
        ("calendars", lambda f: f.assign(fraction=f["fraction"] / 2), "more work than the date allows"),
        ("calendars", lambda f: f.assign(fraction=0.0), "work on a closed date"),
        ("calendars", lambda f: f[f["calendar"] != "pour"], "work on a date no calendar knows"),
    ],
    "progress_adds_up": [
        ("progress", lambda f: f.drop(f.index[40]), "progress does not add up to work_days"),
        ("progress", _add("hook_hours", 0.2), "progress does not add up to hook_hours"),
        ("progress", lambda f: pd.concat([f, f.iloc[:1]]), "a task has two rows for one date"),
        ("tasks", _add("finish", 1.0, lambda f: f["work_days"] == 0), "an event takes time"),
    ],
    "amounts_are_the_quantities": [
        ("tasks", _add("amount", 5.0, _has_work), "an amount is not the quantity measured"),
        (
            "quantities",
            lambda f: f.assign(amount=f["amount"] * 1.01),
            "an amount is not the quantity measured",
        ),
    ],
    "work_follows_from_amounts": [
        ("tasks", _add("work_days", -0.5, _has_work), "shifts do not follow from amount"),
        ("tasks", _add("people", 40.0, _has_work), "people are not between a gang and the most"),
        ("tasks", _add("hook_hours", -0.1, _lifts), "hook hours do not follow from lifts"),
    ],
    "loads_carry_the_quantities": [
        ("loads", lambda f: f.drop(f.index[3]), "what comes is not what the work takes"),
        ("loads", _add("loads", 1.0), "vehicles are not the amount over the load"),
        ("loads", _half_full, "more or fewer vehicles come than are enough"),
        ("loads", _add("per_load", 1.0), "a load is neither a full one nor one called off"),
        ("loads", _later, "the first vehicle comes after the work has begun (delivery panels_outer"),
    ],
    "operatives_are_what_moved": [
        ("operatives", _add("operatives", 1.0), "operatives are not those of the tasks"),
        ("tasks", _add("operative_days", 9.0, _has_work), "not people times shifts"),
    ],
    "site_costs_run": [
        ("time_costs", _add("amount", 5.0), "a site cost is not weeks times rate"),
        ("time_costs", _add("finish", 9000.0), "a site cost runs outside the programme"),
    ],
    "cash_balances": [
        ("cashflow", _add("drawn_debt", 1.0), "sources are not uses"),
        ("cashflow", _add("debt", -1.0), "the loan does not follow"),
        ("cashflow", _add("interest", -50.0), "interest is not the rate on the loan before"),
        ("cashflow", lambda f: f.drop(f.index[5]), "a month is missing"),
        ("cashflow", _add("repaid", -9e9), "a movement of cash is below nothing"),
    ],
    "costs_reach_the_cash": [
        ("tasks", _add("cost", 900.0, _has_work), "construction and premium: "),
        ("time_costs", lambda f: f.drop(f.index[2]), "preliminaries: "),
        ("cashflow", lambda f: f.assign(fees=f["fees"] / 2), "fees: "),
        ("cashflow", lambda f: f.assign(land=0.0), "land: "),
        ("receipts", _add("amount", 300_000.0), "receipts of month "),
    ],
    "assumptions_are_complete": [
        ("assumptions", lambda f: f[f["key"] != "activity.mist.most"], "activity.mist.most is missing"),
        ("assumptions", _put("source", "", _any), "a record lacks its source"),
        ("assumptions", _put("high", -9e9, _any), "a record lies outside its own range"),
        ("assumptions", lambda f: pd.concat([f, f.iloc[:1]]), "a record stands twice"),
    ],
    "files_are_whole": [
        ("tasks", _put("start", np.nan, _has_work), "holds no finite number in start"),
        ("hook", lambda f: f.drop(columns="large_used"), "hook.csv lacks large_used"),
        ("tasks", lambda f: pd.concat([f, f.iloc[:1]]), "a task stands twice"),
    ],
}


@pytest.mark.parametrize(
    ("name", "file", "change", "said"),
    [pytest.param(name, *case, id=f"{name}-{case[2]}") for name, cases in TAMPERED.items() for case in cases],
)
def test_a_pack_tampered_with_is_caught(name, file, change, said, pitch):
    tampered = check.Pack({**pitch.frames, file: change(pitch[file].copy())})
    found = list(getattr(check, name)(tampered))
    assert any(said in problem for problem in found), found


def test_every_check_is_run_and_has_been_seen_to_fail():
    made = {
        node.name
        for node in ast.parse(CHECKER.read_text(encoding="utf-8")).body
        if isinstance(node, ast.FunctionDef)
    }
    checks = {name for name in made if not name.startswith("_")} - {"Pack", "read_pack", "recheck"}
    assert {each.__name__ for each in check.CHECKS} | {"files_are_whole"} == checks == set(TAMPERED)


def test_assumptions_hold_every_record_as_the_method_uses_it(compared, pitch):
    table = pitch["assumptions"].set_index("key")
    assert set(table.index) == set(read_library().records)
    values = compared("pitch").second.plan.values
    for key, value in values.items():
        assert table.loc[key, "value"] == pytest.approx(value, abs=5e-7), key
    price = table.loc["money.price"]
    assert (price["value"], price["overridden"], price["shared"]) == (4900, "yes", "yes")
    assert price["why"] == "Invented for the demonstration."


def test_a_record_of_one_method_alone_is_not_shared():
    text = SITE + BLOCKS + 'flats_per_storey = 4\n[[methods]]\nid = "one"\nlike = "open_frame"\n'
    text += '[[methods]]\nid = "two"\nlike = "open_frame"\n[methods.overrides]\n"site.rework" = 0.05\n'
    table = pack_of(read_scenario(text), "two")["assumptions"].set_index("key")
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


def test_a_pack_is_the_same_twice(windy):
    first, second = pack_of(windy, "open_frame"), pack_of(windy, "open_frame")
    for name, frame in first.frames.items():
        pd.testing.assert_frame_equal(frame, second[name], check_exact=True)


def test_methods_with_like_names_do_not_share_a_folder(windy):
    from model.report.audit import folder_names

    assert folder_names(["a b", "a_b", "A/b", "..", "é"]) == ["a_b", "a_b_2", "A_b_3", "method", "method_2"]
    renamed = replace(windy.methods[0], id="../up")
    assert "/" not in folder_names([renamed.id])[0]
