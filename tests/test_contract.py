"""The figures `storeypace compare --json` prints: every key that others rely on, of the type they rely on.

Keys may be added, never renamed. Weeks and saving are positive where the second method is sooner; all else
is the second less the first.
"""

from __future__ import annotations

import datetime as dt
import json
import math
import re
from pathlib import Path

import pytest

from model import compare_methods, load_scenario
from model.inputs.method import read_catalogue
from model.inputs.reading import read_scenario
from model.report.figures import comparison_figures

SITE = '[development]\nname = "Sample Yard"\nplace = "cardiff"\nstart = 2027-04-05\n'
EAST = '[[blocks]]\nname = "East"\nstoreys = 2\nflats_per_storey = 4\n'


class Null:
    """May be null."""

    def __init__(self, kind):
        self.kind = kind


def number(value):
    return isinstance(value, (int, float)) and not isinstance(value, bool) and math.isfinite(value)


def count(value):
    return number(value) and value >= 0 and float(value).is_integer()


def share(value):
    return number(value) and 0 <= value <= 1


def positive(value):
    return number(value) and value >= 0


def text(value):
    return isinstance(value, str) and value != ""


def flag(value):
    return isinstance(value, bool)


def date(value):
    return isinstance(value, str) and dt.date.fromisoformat(value).isoformat() == value


WEEK_CAUSES = ("interest", "preliminaries", "plant", "receipts", "premium")
COSTS = ("construction", "premium", "preliminaries", "fees", "land", "finance")

BLOCK = {
    "name": text, "start": date, "ground_slab": date, "topped_out": date, "weathertight": date, "ready": date,
    "sections": [{"name": text, "storeys": [count], "zones": [count], "flats": count, "ready": date}],
    "stricter_approvals": flag, "cycle_days": positive, "lag_storeys": Null(number),
}  # fmt: skip
METHOD = {
    "like": text, "options": dict, "gangs": dict, "blocks": [BLOCK],
    "first_handover": date, "last_handover": date,
    "weeks_to_first_handover": positive, "weeks_to_last_handover": positive,
    "trades": count, "packages": count, "operative_days": positive, "peak_operatives": positive,
    "hours_per_m2": positive, "open_edge_hours": positive,
    "hook_hours": positive, "hook_utilisation_peak_month": share, "cranes": count, "cranes_needed": count,
    "lifts": positive, "wind_lost_hook_hours": positive,
    "loads": count, "loads_peak_day": count, "bay_capacity_per_day": count, "panels": count,
    "transport_kgco2e": positive, "factory": Null(dict),
    "cost": dict.fromkeys((*COSTS, "total"), number),
    "receipts": positive, "profit": number, "profit_on_cost_pct": number, "npv": number,
    "irr_pct": Null(number), "peak_debt": positive, "interest": positive,
    "value_of_a_week": dict.fromkeys(("total", *WEEK_CAUSES), number),
    "site": {
        "average_operatives": positive, "idle_share": share, "bay_minutes_peak_day": positive,
        "bay_minutes_available": positive, "bay_days_over": count, "panels_stored_peak": positive,
        "edge_open_for_lifts_hours": positive, "hoist_hours": positive, "peak_hook_month": Null(date),
        "haulage_kgco2e": positive, "travel_kgco2e": positive,
        "welfare": dict.fromkeys(("people", "wcs", "basins", "portable_toilets", "cabins"), count),
    },
    "causes": {
        "blocks": [{"name": text, **dict.fromkeys(("topped_out", "weathertight", "ready"), dict)}],
        "last_handover": {"block": text, "days": dict, "work_days_by_trade": dict, "steps": list},
        "float_before_crane_sharing": dict,
    },
}  # fmt: skip
DIFFERENCE = {
    "weeks_to_first_handover": number, "weeks_to_last_handover": number, "programme_saving_pct": number,
    "walls_only": {"weeks_to_first_handover": number, "weeks_to_last_handover": number, "profit": number},
    "blocks": [{"name": text, "weeks_to_ready": number}], "trades": number, "hook_hours": number,
    "loads": number, "operative_days": number, "interest": number, "preliminaries": number, "premium": number,
    "profit": number, "npv": number, "peak_debt": number,
}  # fmt: skip
WHOLE = {
    "storeypace": text, "scenario": {"name": text, "fingerprint": text}, "defaults_used": count,
    "warnings": [text], "methods": dict, "difference": DIFFERENCE,
}  # fmt: skip


def breaches(value, promise, at="", empty_lists=("warnings",)):
    """Yield every place where a value is not what was promised."""
    if isinstance(promise, Null):
        if value is not None:
            yield from breaches(value, promise.kind, at)
    elif isinstance(promise, dict):
        if not isinstance(value, dict):
            yield f"{at} is no table"
            return
        for key, kind in promise.items():
            if key not in value:
                yield f"{at}.{key} is missing"
            else:
                yield from breaches(value[key], kind, f"{at}.{key}")
    elif isinstance(promise, list):
        may_be_empty = at.rsplit(".", 1)[-1] in empty_lists
        if not isinstance(value, list) or not (value or may_be_empty):
            yield f"{at} is no list, or an empty one"
            return
        for place, item in enumerate(value):
            yield from breaches(item, promise[0], f"{at}[{place}]")
    elif promise is dict:
        if not isinstance(value, dict) or not value:
            yield f"{at} is no table"
    elif not promise(value):
        yield f"{at} is {value!r}, no {promise.__name__}"


def printed(comparison):
    """The figures as a reader of the JSON has them."""
    return json.loads(json.dumps(comparison.as_json(), allow_nan=False))


@pytest.fixture(scope="module", params=["two_storey", "pitch"])
def figures(request, compared):
    return printed(compared(request.param))


def test_every_key_is_there_and_of_its_type(figures):
    found = list(breaches(figures, WHOLE))
    for name, method in figures["methods"].items():
        found += breaches(method, METHOD, name)
    assert found == []


@pytest.mark.parametrize(
    ("change", "said"),
    [
        (lambda f: f.pop("profit"), ".profit is missing"),
        (lambda f: f.update(npv=None), ".npv is None, no number"),
        (lambda f: f.update(loads=2.5), ".loads is 2.5, no count"),
        (lambda f: f.update(first_handover="6 May 2028"), None),
        (lambda f: f["cost"].pop("land"), ".cost.land is missing"),
        (lambda f: f["blocks"][0].update(sections=[]), ".blocks[0].sections is no list, or an empty one"),
        (lambda f: f.update(hook_hours=True), ".hook_hours is True, no positive"),
    ],
)
def test_a_broken_promise_is_seen(change, said, compared):
    method = printed(compared("two_storey"))["methods"]["panelised"]
    change(method)
    if said is None:
        with pytest.raises(ValueError, match="Invalid isoformat string"):
            list(breaches(method, METHOD))
    else:
        assert said in list(breaches(method, METHOD))


def test_what_tells_a_scenario_apart_is_a_digest(figures):
    assert re.fullmatch(r"[0-9a-f]{64}", figures["scenario"]["fingerprint"])
    assert re.fullmatch(r"\d+\.\d+\.\d+", figures["storeypace"])


def test_methods_that_are_not_named_are_the_open_frame_and_the_panels(figures):
    assert list(figures["methods"]) == ["open_frame", "panelised"]
    catalogue = read_catalogue()
    for name, method in figures["methods"].items():
        assert method["like"] == name
        assert method["options"] == dict(catalogue.methods[name])
        assert set(method["gangs"]) <= set(catalogue.trades)
        assert all(count(gangs) and gangs >= 1 for gangs in method["gangs"].values())


def test_handovers_are_those_of_the_blocks(figures):
    for method in figures["methods"].values():
        ready = [block["ready"] for block in method["blocks"]]
        assert (min(ready), max(ready)) == (method["first_handover"], method["last_handover"])
        for block in method["blocks"]:
            days = [block[e] for e in ("start", "ground_slab", "topped_out", "weathertight", "ready")]
            assert days == sorted(days)
            assert [section["ready"] for section in block["sections"]] == [block["ready"]]


def test_weeks_count_to_the_evening_of_the_date_of_handover(figures, compared):
    name = "two_storey" if len(figures["difference"]["blocks"]) == 1 else "pitch"
    start = compared(name).scenario.development.start
    for method in figures["methods"].values():
        for which in ("first", "last"):
            date_of = dt.date.fromisoformat(method[f"{which}_handover"])
            days = method[f"weeks_to_{which}_handover"] * 7
            assert (date_of - start).days == math.ceil(days - 1e-9) - 1


@pytest.mark.parametrize("name", ["two_storey", "pitch"])
def test_the_days_of_every_cause_add_up_to_the_handover(compared, name):
    figures = compared(name).as_json()
    for case, method in zip(compared(name).cases, figures["methods"].values(), strict=True):
        causes = method["causes"]
        for told, ready in zip(causes["blocks"], case.plan.ready_by_block, strict=True):
            assert sum(told["ready"].values()) == pytest.approx(ready, abs=1e-6)
            assert sum(told["topped_out"].values()) < sum(told["ready"].values())
        last = causes["last_handover"]
        assert last["days"]["work"] == pytest.approx(sum(last["work_days_by_trade"].values()), abs=1e-6)
        planned = 7 * (next(b for b in case.plan.scenario.blocks if b.name == last["block"]).start_weeks or 0)
        assert last["days"]["planned start"] == pytest.approx(planned, abs=1e-6)
        weeks = sum(last["days"].values()) / 7
        assert weeks == pytest.approx(method["weeks_to_last_handover"], abs=1e-6)
        assert min(causes["float_before_crane_sharing"].values()) == 0.0


def test_approval_to_start_is_asked_for_in_time(compared):
    """24 weeks before a block of 7 storeys or more is begun: from memory, editable, local codes decide."""
    for method in compared("pitch").as_json()["methods"].values():
        for block in method["blocks"]:
            assert block["stricter_approvals"]
            start, asked = (dt.date.fromisoformat(block[key]) for key in ("start", "apply_to_start_by"))
            assert (start - asked).days == pytest.approx(24 * 7, abs=3)  # the start is the first date worked
    low = compared("two_storey").as_json()["methods"]["open_frame"]["blocks"][0]
    assert not low["stricter_approvals"]
    assert "apply_to_start_by" not in low


def test_slips_and_single_changes_stand_beside_every_method(compared):
    told = []
    found = comparison_figures(compared("two_storey"), lambda done, of: told.append((done, of)))
    assert told == [(n, 4) for n in (1, 2, 3, 4)]
    for method in found["methods"].values():
        slips, changes = method["causes"]["slips"], method["single_changes"]
        assert {row["trade"] for row in slips["trades"]} >= {"carpenters", "painters"}
        assert len(changes["offered"]) <= 3
        assert changes["words"]
    json.dumps(found, allow_nan=False)


def test_costs_add_up(figures):
    for method in figures["methods"].values():
        cost = method["cost"]
        assert cost["total"] == pytest.approx(sum(cost[line] for line in COSTS), abs=0.01)
        assert method["profit"] == pytest.approx(method["receipts"] - cost["total"], abs=0.01)
        assert method["profit_on_cost_pct"] == pytest.approx(100 * method["profit"] / cost["total"], abs=1e-9)
        assert method["interest"] <= cost["finance"]
        week = method["value_of_a_week"]
        assert week["total"] == pytest.approx(sum(week[cause] for cause in WEEK_CAUSES), abs=0.01)


def test_the_difference_is_that_of_the_two_methods(figures):
    first, second = figures["methods"].values()
    difference = figures["difference"]
    for key in ("weeks_to_first_handover", "weeks_to_last_handover"):
        assert difference[key] == pytest.approx(first[key] - second[key], abs=1e-9)
    saving = 100 * difference["weeks_to_first_handover"] / first["weeks_to_first_handover"]
    assert difference["programme_saving_pct"] == pytest.approx(saving, abs=1e-9)
    for key in ("trades", "hook_hours", "loads", "operative_days", "interest", "profit", "npv", "peak_debt"):
        assert difference[key] == pytest.approx(second[key] - first[key], abs=0.01), key
    for key in ("preliminaries", "premium"):
        assert difference[key] == pytest.approx(second["cost"][key] - first["cost"][key], abs=0.01), key
    for row, one, other in zip(difference["blocks"], first["blocks"], second["blocks"], strict=True):
        assert row["name"] == one["name"] == other["name"]
        days = (dt.date.fromisoformat(one["ready"]) - dt.date.fromisoformat(other["ready"])).days
        assert abs(7 * row["weeks_to_ready"] - days) < 1


def test_a_factory_is_told_where_panels_are_made_and_only_there(figures):
    open_frame, panelised = figures["methods"].values()
    assert (open_frame["factory"], open_frame["panels"]) == (None, 0)
    factory = panelised["factory"]
    for key in ("first_made", "last_made", "ordered", "order_by", "freeze_by"):
        assert date(factory[key]), key
    assert factory["freeze_by"] < factory["order_by"] < factory["first_made"] <= factory["last_made"]
    assert factory["panels"] == panelised["panels"] > 0


def nulls(item, at=""):
    """Every place of a null."""
    if item is None:
        yield at
    pairs = item.items() if isinstance(item, dict) else enumerate(item) if isinstance(item, list) else ()
    for key, value in pairs:
        yield from nulls(value, f"{at}.{key}")


def test_a_null_gives_its_reason():
    """Two storeys have no lag to count; flats given away have no rate of return."""
    figures = printed(compare_methods(read_scenario(f"{SITE}{EAST}[money]\nprice = 0\n")))
    places = set(nulls(figures))
    assert ".methods.open_frame.irr_pct" in places
    assert ".methods.open_frame.blocks.0.lag_storeys" in places
    labels = {"open_frame": "Open frame", "panelised": "Panels"}
    reasons = {
        "irr_pct": "no internal rate of return",
        "equity_irr_pct": "no rate of return of the equity",
        "mirr_pct": "no modified rate of return",
        "profit_on_value_pct": "no profit on value",
        "lag_storeys": "no storeys of lag to count",
        "found": "never repaid",
    }
    for place in places:
        _empty, _methods, name, *rest = place.split(".")
        if rest[-1] != "factory":  # null says that none is needed
            found = [w for w in figures["warnings"] if w.startswith(labels[name]) and reasons[rest[-1]] in w]
            assert found, place


def test_what_the_two_methods_cannot_share_is_told_once(figures):
    assert len(figures["warnings"]) == len(set(figures["warnings"]))


def test_the_same_scenario_gives_the_same_figures_twice(compared):
    again = printed(compare_methods(compared("two_storey").scenario))
    assert again == printed(compared("two_storey"))


def test_a_later_order_does_not_move_the_last_safe_day():
    scenario = load_scenario(Path(__file__).parents[1] / "scenarios" / "pitch.toml")
    found = []
    for weeks in (0.0, 40.0):
        changed = scenario.with_override("factory.order", weeks)
        found.append(compare_methods(changed).as_json()["methods"]["panelised"]["factory"])
    assert found[0]["order_by"] == found[1]["order_by"]
    assert found[0]["ordered"] < found[0]["order_by"] < found[1]["ordered"]
