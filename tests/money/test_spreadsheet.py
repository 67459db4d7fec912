"""The money of one method, worked out again in a spreadsheet from the tables of the audit pack alone.

Sources: each cell is a formula of the workbook in `spreadsheet.py`, written apart from the model and worked
out by another program; rules as the library's records state them (JCT-style payment and retention, equity
before loan, interest on the balance before), NPV() and IRR() as OASIS OpenFormula defines them.

The files carry six decimals, which leaves less than nine digits of a small cell. So the tables are taken as
`model.report.audit.audit_tables` gives them, before they are written, and held to 1e-9 of every cell or a
ten-thousandth of a penny (what the last digits of sums of tens of millions leave); the files themselves are
held to a penny.
"""

from __future__ import annotations

import ast
import datetime as dt
import importlib.util
import os
import sys
from dataclasses import replace
from functools import cache
from pathlib import Path

import numpy as np
import pandas as pd
import pytest

from model.money import common_grid, price
from model.report.audit import audit_tables

pytestmark = pytest.mark.filterwarnings("ignore::SyntaxWarning")  # of the library that works the sheet out

SHEET = Path(__file__).with_name("spreadsheet.py")
RELATIVE, LEAST, PENNY = 1e-9, 1e-6, 0.01
FIRST_DAY = dt.date(1899, 12, 30)
"""Day 0 of a spreadsheet's dates."""

SMALL = {
    # a mezzanine, panels paid for on delivery under a bond, sales that drag on and give money back, more fees
    "mezzanine_pct": 12,
    "factory_delivery_pct": 75,
    "bond_rate_pct": 1.5,
    "retention_pct": 5,
    "non_utilisation_pct": 1,
    "exit_pct": 0.75,
    "reservations_per_month": 1.3,
    "cap_per_block_per_month": 1.3,
    "incentives_pct": 2,
    "value_preliminaries_pct": 0.7,
    "hurdle_pct": 12,
}


def _load():
    spec = importlib.util.spec_from_file_location("spreadsheet", SHEET)
    module = importlib.util.module_from_spec(spec)
    sys.modules["spreadsheet"] = module
    spec.loader.exec_module(module)
    return module


sheet = _load()


def tables(case):
    return {name.removesuffix(".csv"): frame for name, frame in audit_tables(case).items()}


def files(folder):
    return {path.stem: pd.read_csv(path, keep_default_na=False) for path in folder.glob("*.csv")}


def repriced(case, figures):
    values = case.plan.values.with_overrides({f"money.{key}": (float(v), "") for key, v in figures.items()})
    plan = replace(case.plan, values=values)
    site = replace(case.site, plan=plan)
    return replace(case, plan=plan, site=site, account=price(plan, site, common_grid([plan])))


@pytest.fixture(scope="module")
def worked(compared, pack_folder, tmp_path_factory):
    """Account, columns of the cash flow and totals of the spreadsheet, and the pack, by name."""

    @cache
    def work(name):
        scenario = "pitch" if name == "pitch" else "two_storey"
        comparison = compared(scenario)
        first, second = comparison.cases
        case = first if name in ("open frame", "from files") else second
        if name == "small":
            case = repriced(case, SMALL)
        pack, reference = tables(case), tables(first)["tasks"]
        if name == "from files":
            pack = files(pack_folder(scenario) / "open_frame")
            reference = pack["tasks"]
        book = sheet.Workbook(
            pack,
            reference,
            # the two storeys are bought on the day of the start, the pitch whole months before
            purchase=None if name == "pitch" else 0.0,
            facility=float(case.account.cash.facility.facility_size),
        )
        path = tmp_path_factory.mktemp("sheet") / "book.xlsx"
        columns, totals = book.evaluate(path)
        return case.account, columns, totals, pack

    return work


def apart(found, wanted, relative=RELATIVE, least=LEAST):
    """Places at which two columns are further apart than allowed."""
    gap = np.abs(np.asarray(found, dtype=float) - np.asarray(wanted, dtype=float))
    return np.flatnonzero(~(gap <= np.maximum(relative * np.abs(wanted), least)))


slow = pytest.mark.skipif(
    os.environ.get("STOREYPACE_SLOW") != "1", reason="half a minute of formulas: set STOREYPACE_SLOW=1"
)

EACH = ("open frame", "small", pytest.param("pitch", marks=slow))


@pytest.mark.parametrize("name", EACH)
def test_every_cell_of_the_cash_flow_is_what_the_spreadsheet_finds(worked, name):
    account, columns, _totals, pack = worked(name)
    frame = account.cashflow_frame()
    compared_columns = [column for column in frame.columns if column in columns]
    assert set(frame.columns) - set(compared_columns) <= {"ends_on", "mezzanine"}
    for column in compared_columns:
        assert apart(columns[column], frame[column]).size == 0, column
        assert apart(columns[column], pack["cashflow"][column]).size == 0, column
    if name == "small":
        assert apart(columns["mezzanine"], frame["mezzanine"]).size == 0
        assert frame["mezzanine"].max() > 100_000
    else:
        assert "mezzanine" not in columns
        assert (frame["mezzanine"] == 0).all()
    ends = [(account.grid.start + dt.timedelta(days=day)).isoformat() for day in columns["day"]]
    assert ends == frame["ends_on"].tolist()


@pytest.mark.parametrize("name", EACH)
def test_totals_and_returns_are_those_of_the_spreadsheet(worked, name):
    account, _columns, totals, _pack = worked(name)
    run = account.cash.facility
    for line in (*sheet.LINES, "total"):
        assert totals[line] == pytest.approx(account.cost_of(line), rel=RELATIVE, abs=LEAST), line
    for key in ("receipts", "interest", "profit", "profit_on_cost_pct", "npv", "peak_debt", "bond"):
        assert totals[key] == pytest.approx(getattr(account, key), rel=RELATIVE, abs=LEAST), key
    assert totals["fees_finance"] == pytest.approx(float(run.fees_total), rel=RELATIVE)
    assert totals["fees_finance"] + totals["interest"] == pytest.approx(
        account.cost_of("finance"), rel=RELATIVE
    )
    assert totals["equity"] == pytest.approx(account.cash.equity, rel=RELATIVE)
    assert totals["irr"] == pytest.approx(account.irr[0], rel=RELATIVE)


@pytest.mark.parametrize("name", EACH)
def test_the_facility_pasted_for_its_own_fees_is_the_peak_balance(worked, name):
    account, _columns, totals, _pack = worked(name)
    # a ten-millionth of a pound, or the last digits of the balance
    allowed = max(1e-7, 4 * np.finfo(float).eps * float(account.cash.facility.facility_size))
    assert abs(totals["facility_apart"]) < allowed + 1e-7
    assert totals["fees_finance"] > 0


@pytest.mark.parametrize("name", EACH)
def test_rows_of_site_costs_and_the_bond_are_what_the_spreadsheet_finds(worked, name):
    _account, _columns, totals, pack = worked(name)
    for table in ("time_costs", "fixed_costs"):
        assert totals[table] == pytest.approx(pack[table]["amount"].sum(), rel=RELATIVE), table
    steps = pack["factory_payments"].groupby("step")["amount"].sum()
    assert totals["bond"] == pytest.approx(steps.get("bond", 0.0), rel=RELATIVE, abs=LEAST)
    assert (totals["bond"] > 0) == (name != "open frame")


def test_the_present_value_is_nil_at_the_rate_of_return(worked):
    for name in EACH[:2]:
        account, columns, totals, _pack = worked(name)
        flow = np.array(columns["flow"])
        monthly = (1 + totals["irr"]) ** (1 / 12)
        worth = float(flow @ monthly ** -np.arange(flow.size, dtype=float))
        assert abs(worth) < 1e-9 * np.abs(flow).sum(), name
        assert account.irr_roots == pytest.approx([totals["irr"]], rel=1e-9)


def test_the_files_themselves_give_every_cell_to_a_penny(worked):
    """Six decimals of a shift, a day and a price; the sheet is fed from the CSV files of the open frame."""
    account, columns, totals, pack = worked("from files")
    frame = account.cashflow_frame()
    for column in frame.columns.drop(["ends_on", "mezzanine"]):
        assert apart(columns[column], frame[column], 0.0, PENNY).size == 0, column
        assert apart(columns[column], pack["cashflow"][column], 0.0, PENNY).size == 0, column
    assert totals["profit"] == pytest.approx(account.profit, rel=0, abs=PENNY)
    # a hand finds the same profit: tests/hand
    assert totals["profit"] == pytest.approx(492_980.22, rel=0, abs=2 * PENNY)


@slow
def test_the_file_of_the_pitch_holds_what_the_spreadsheet_finds(worked, pack_folder):
    _account, columns, _totals, _pack = worked("pitch")
    file = pd.read_csv(pack_folder("pitch") / "panelised" / "cashflow.csv")
    for column in file.columns.drop(["ends_on", "mezzanine"]):
        assert apart(columns[column], file[column], 0.0, PENNY).size == 0, column


@pytest.mark.parametrize("line", ["construction", "preliminaries", "interest", "fees_finance", "debt"])
def test_a_cell_that_is_a_penny_out_is_seen(worked, line):
    _account, columns, _totals, pack = worked("open frame")
    tampered = pack["cashflow"][line].to_numpy().copy()
    at = int(tampered.argmax())
    tampered[at] += 0.01
    assert apart(columns[line], tampered).tolist() == [at]


def test_the_spreadsheet_imports_nothing_of_the_model():
    tree = ast.parse(SHEET.read_text(encoding="utf-8"))
    names = {alias.name for node in ast.walk(tree) if isinstance(node, ast.Import) for alias in node.names}
    names |= {node.module for node in ast.walk(tree) if isinstance(node, ast.ImportFrom)}
    allowed = {"contextlib", "datetime", "io", "formulas", "numpy", "openpyxl"}
    assert {name.split(".")[0] for name in names} == allowed
