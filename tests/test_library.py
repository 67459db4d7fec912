"""Every record is defensible, every name in the tables is known, nothing hangs loose.

The files are walked here as raw TOML, apart from the reader, which checks some of this for itself.
"""

from __future__ import annotations

import csv
import math
import re
import tomllib
from pathlib import Path

import pytest

from model.core.units import UNITS, is_money
from model.inputs.assumption import EVIDENCE, MARKS, read_library
from model.inputs.climate import MONTHS, PLACES
from model.inputs.method import CAUSES, LAG_KINDS, RELEASES, read_catalogue
from model.money.costs import read_site_costs
from model.programme.network import Rules
from model.quantities.takeoff import UNITS_OF
from model.site.deliveries import read_deliveries

ROOT = Path(__file__).parents[1]
FOLDER = ROOT / "model" / "inputs" / "library"
LIBRARY = read_library()
CATALOGUE = read_catalogue()
LINKED = [*CATALOGUE.activities.values(), *CATALOGUE.events.values()]
RULES = Rules(1, 2, 3, 4, 5, 6, 7, 8, 0.8, False)


def raw_records():
    """File, key, table and what it may take from above, of every table that holds a value."""
    for path in sorted(FOLDER.glob("*.toml")):
        tables = tomllib.loads(path.read_text(encoding="utf-8"))
        defaults = tables.pop("defaults", {})
        stack = [((), tables, {})]
        while stack:
            key, table, above = stack.pop()
            if "value" in table:
                yield path.name, ".".join(key), table, {**defaults, **above, **table}
            else:
                inherited = {k: table[k] for k in ("evidence", "mark", "source", "price_date") if k in table}
                stack += [
                    ((*key, k), v, {**above, **inherited}) for k, v in table.items() if isinstance(v, dict)
                ]


RECORDS = list(raw_records())


def faults_of(table, merged):
    low, value, high = (table.get(name, math.nan) for name in ("low", "value", "high"))
    unit = merged.get("unit", "")
    if not all(isinstance(x, (int, float)) and math.isfinite(x) for x in (low, value, high)):
        yield "low, value and high are not numbers"
    elif not low <= value <= high:
        yield "low <= value <= high does not hold"
    elif unit in UNITS and not UNITS[unit][0] <= low <= high <= UNITS[unit][1]:
        yield f"the range leaves what {unit} can mean"
    if unit not in UNITS:
        yield f"{unit!r} is no unit"
    if merged.get("evidence") not in EVIDENCE:
        yield "no grade of evidence"
    if merged.get("mark") not in MARKS:
        yield "no mark"
    if len(str(merged.get("source", "")).strip()) < 12:
        yield "no source"
    if is_money(unit) and not re.fullmatch(r"20[0-9]{2}-(0[1-9]|1[0-2])", str(merged.get("price_date", ""))):
        yield "money without the month of its price"
    strange = set(table) - {
        "label", "value", "low", "high", "unit", "evidence", "mark", "source", "note", "price_date",
    }  # fmt: skip
    if strange:
        yield f"unknown fields {sorted(strange)}"


def test_every_record_is_defensible():
    assert len(RECORDS) > 500
    faults = [
        f"{file} {key}: {fault}" for file, key, table, merged in RECORDS for fault in faults_of(table, merged)
    ]
    assert faults == []


@pytest.mark.parametrize(
    ("change", "fault"),
    [
        ({"low": 2}, "low <= value <= high"),
        ({"high": 9e9}, "leaves what share can mean"),
        ({"unit": "EUR/kW"}, "is no unit"),
        ({"evidence": "rumour"}, "no grade of evidence"),
        ({"mark": ""}, "no mark"),
        ({"source": " "}, "no source"),
        ({"unit": "GBP/m2"}, "money without the month"),
        ({"value": "1"}, "not numbers"),
        ({"valeu": 1}, "unknown fields"),
    ],
)
def test_the_walk_sees_a_record_that_is_not(change, fault):
    sound = {
        "value": 0.5, "low": 0.4, "high": 0.6, "unit": "share", "evidence": "chosen", "mark": "DERIVED",
        "source": "Chosen for this test",
    }  # fmt: skip
    assert list(faults_of(sound, sound)) == []
    broken = {**sound, **change}
    assert any(fault in said for said in faults_of(broken, broken))


def test_the_reader_reads_every_record_and_no_other():
    assert sorted(key for _file, key, _table, _merged in RECORDS) == sorted(LIBRARY.records)


def test_every_record_has_a_label_of_its_own_and_the_figures_of_its_file():
    labels = [record.label for record in LIBRARY.records.values()]
    assert all(label.strip() for label in labels)
    twins = sorted({label for label in labels if labels.count(label) > 1})
    assert twins == []
    for _file, key, table, merged in RECORDS:
        record = LIBRARY[key]
        assert (record.value, record.low, record.high) == (table["value"], table["low"], table["high"]), key
        assert (record.unit, record.mark, record.evidence) == (
            merged["unit"], merged["mark"], merged["evidence"],
        ), key  # fmt: skip


def test_every_key_a_link_uses_is_in_the_library():
    keys = [
        (item.id, link.lag_kind, key)
        for item in LINKED
        for link in [*item.after, *getattr(item, "raises", ())]
        for key in link.lag
    ]
    assert len(keys) > 20
    unknown = [
        at for at in keys if at[2] not in (RELEASES if at[1] == "release" else LIBRARY.records)
    ]  # fmt: skip
    assert unknown == []
    in_time = {"days", "weeks", "weeks from start", "working days"}
    assert [at for at in keys if at[1] != "release" and LIBRARY[at[2]].unit not in in_time] == []


def test_a_working_lag_is_in_working_days_and_no_other_is():
    for item in LINKED:
        for link in [*item.after, *getattr(item, "raises", ())]:
            for key in link.lag if link.lag_kind != "release" else ():
                working = LIBRARY[key].unit == "working days"
                assert working == (link.lag_kind == "working"), f"{item.id}: {key}"


def test_every_storey_a_link_names_can_be_counted():
    for item in LINKED:
        for link in item.after:
            for rule in (link.plus, link.minus):
                assert not rule or RULES.offset(rule) >= 1, f"{item.id}: {rule}"
            known = link.storey.lstrip("-").isdigit() or link.storey in ("top", "first", "all")
            assert known or LIBRARY[link.storey].unit == "share", f"{item.id}: {link.storey}"


def test_every_word_of_a_link_is_known():
    for item in LINKED:
        for link in item.after:
            assert link.cause in CAUSES
            assert link.lag_kind in LAG_KINDS
            assert link.name in (CATALOGUE.events if link.event else CATALOGUE.activities), (
                f"{item.id}: {link.name}"
            )


def test_every_trade_has_work_and_every_activity_a_trade():
    assert {activity.trade for activity in CATALOGUE.activities.values()} == set(CATALOGUE.trades)
    for trade in CATALOGUE.trades.values():
        keeps = f"trade.{trade.id}.most_gangs" in LIBRARY.records
        assert keeps == trade.keeps_pace, (
            f"{trade.id}: a trade that keeps pace owes the most the market supplies"
        )
        assert trade.keeps_pace or LIBRARY[f"trade.{trade.id}.gangs"].low >= 1, trade.id


def test_every_event_comes_from_something_and_leads_to_something():
    raised = {raised.event for activity in CATALOGUE.activities.values() for raised in activity.raises}
    followed = {link.name for item in LINKED for link in item.after if link.event}
    begins = {name for name, event in CATALOGUE.events.items() if name not in raised and not event.after}
    assert begins == {"site_start"}
    code = "\n".join(path.read_text(encoding="utf-8") for path in sorted((ROOT / "model").rglob("*.py")))
    ends = set(CATALOGUE.events) - followed
    assert "ready" in ends
    untold = [event for event in ends if f'"{event}"' not in code and f'"event:{event}"' not in code]
    assert untold == []  # what nothing follows is a date or a count the model reads


def test_every_activity_is_part_of_an_option_and_every_option_of_its_element():
    used = {name for option in CATALOGUE.options.values() for name in option.activities}
    assert used == set(CATALOGUE.activities)
    for (element, name), option in CATALOGUE.options.items():
        assert element in CATALOGUE.elements
        reference = CATALOGUE.options[element, option.replaces]
        assert reference.replaces == option.replaces, f"{element}.{name}: the reference is its own"
        for other, allowed in option.goes_with:
            assert all((other, choice) in CATALOGUE.options for choice in allowed)


def test_every_activity_has_the_figures_it_is_timed_by():
    for activity in CATALOGUE.activities.values():
        key = activity.key
        owed = ["gang", "most"] + {"hours": ["hours"], "weeks": ["weeks"], "output": []}[activity.timed_by]
        owed += ["lifts", "hook", "crane_share"] if activity.lifts else []
        owed += ["skip_hours"] if f"{key}.skip_hours" in LIBRARY.records else []
        have = {name.rsplit(".", 1)[1] for name in LIBRARY.records if name.startswith(f"{key}.")}
        assert have == set(owed), activity.id
        unit = UNITS_OF[activity.consumes.rsplit("_", 1)[1]]
        for name in ("hours", "lifts"):
            if f"{key}.{name}" in LIBRARY.records and activity.consumes != "flats_no":
                assert LIBRARY[f"{key}.{name}"].unit.split("/")[1] == unit, f"{key}.{name}"
        assert LIBRARY[f"{key}.gang"].value <= LIBRARY[f"{key}.most"].value, key


def test_every_delivery_serves_an_activity_and_travels_on_a_known_vehicle():
    deliveries = read_deliveries()
    assert len(deliveries) == len({delivery.label for delivery in deliveries}) > 20
    for delivery in deliveries:
        assert delivery.activity in CATALOGUE.activities, delivery.id
        for figure in ("distance", "laden", "empty"):
            assert f"vehicle.{delivery.vehicle}.{figure}" in LIBRARY.records, delivery.id
        for figure in ("per_unit", "per_load"):
            assert f"delivery.{delivery.id}.{figure}" in LIBRARY.records, delivery.id


def test_every_site_cost_has_its_rate_and_known_ends():
    known = {
        "start", "last_handover", "first_lift", "last_lift", "third_slab", "hoist_struck", "access_up",
        "ground_slab", "top_slab",
        "access_gone",
    }  # fmt: skip
    for item in read_site_costs():
        assert {item.begins, item.ends} <= known, item.id
        assert item.kind in ("preliminaries", "plant"), item.id
        assert is_money(LIBRARY[f"site_cost.{item.id}.rate"].unit), item.id


def test_every_row_of_the_climate_is_marked_and_says_where_it_comes_from():
    with (FOLDER / "climate.csv").open(encoding="utf-8", newline="") as file:
        rows = list(csv.DictReader(file))
    assert {row["place"] for row in rows} == set(PLACES)
    for row in rows:
        at = f"{row['place']} {row['measure']}"
        assert row["mark"] in MARKS, at
        assert len(row["source"].strip()) > 12, at
        assert row["period"].strip() or row["mark"] == "MEMORY", at
        assert row["unit"] in UNITS or row["unit"] in ("degC", "days", "m/s"), at
        figures = [row[month] for month in MONTHS if row[month]] or [row["year"]]
        assert len(figures) in (1, 12), at  # every month, or a mean of the year alone
        assert all(math.isfinite(float(figure)) for figure in figures), at
    assert len({(row["place"], row["measure"]) for row in rows}) == len(rows)


def test_no_file_of_the_library_is_silent_about_its_source():
    for path in FOLDER.glob("*.toml"):
        assert path.read_text(encoding="utf-8").startswith("# "), path.name
