"""Everything needed to check a comparison from files alone.

One folder for each method, plain CSV with a header row, six decimals; `differences.csv` beside them.
A reader with a spreadsheet or ten lines of code can re-check links, gangs, both hook classes, closed
days, cash, and loads against quantities.
"""

from __future__ import annotations

import os
import re
import tempfile
from pathlib import Path
from typing import Final

import numpy as np
import pandas as pd

from model.compare import Case, Comparison
from model.core.errors import Problem, ScenarioError
from model.explain.differences import differences
from model.explain.rerun import Progress
from model.inputs.method import CALENDARS, CAUSES, RELEASES
from model.money.payments import factory_payments
from model.programme.kernel import CALENDAR, PROPS, STRIKE, WORKING
from model.programme.plan import TASK_COLUMNS

_KIND_WORDS: Final = {CALENDAR: "calendar", WORKING: "working", STRIKE: RELEASES[0], PROPS: RELEASES[1]}


def audit_tables(case: Case) -> dict[str, pd.DataFrame]:
    """Return the tables of one method, by file name.

    Parameters
    ----------
    case : Case

    Returns
    -------
    dict of str to DataFrame
    """
    tasks = case.plan.frame
    tasks["cost"] = case.account.work.reference + case.account.work.premium
    return {
        "tasks.csv": tasks[list(TASK_COLUMNS)],
        "progress.csv": _progress(case, tasks),
        "links.csv": _links(case, tasks),
        "calendars.csv": _calendars(case),
        "hook.csv": _hook(case),
        "hoist.csv": _hoist(case),
        "release.csv": _release(case),
        "quantities.csv": case.takeoff.frame,
        "loads.csv": case.site.loads.frame(case.plan),
        "operatives.csv": case.site.operatives_frame(),
        "time_costs.csv": case.account.cash.time_costs.frame(),
        "fixed_costs.csv": case.account.cash.fixed_costs.frame(),
        "factory_payments.csv": factory_payments(case.plan, case.account.work),
        "receipts.csv": case.account.receipts_frame(),
        "cashflow.csv": case.account.cashflow_frame(),
        "assumptions.csv": assumptions(case),
    }


def write_audit(comparison: Comparison, folder: Path, progress: Progress | None = None) -> list[Path]:
    """Write the audit pack, whole or not at all.

    Parameters
    ----------
    comparison : Comparison
    folder : Path
        Made if it is not there; files of an earlier pack in it are replaced, nothing else is touched.
    progress : callable, optional
        Told runs done and runs in all while the effect of each difference is worked out.

    Returns
    -------
    list of Path
        Files written.

    Raises
    ------
    ScenarioError
        If the folder cannot be written, saying why.
    """
    names = folder_names([case.method.id for case in comparison.cases])
    differing = differences(comparison, progress)
    try:
        home = folder if folder.is_dir() else folder.parent
        home.mkdir(parents=True, exist_ok=True)
        with tempfile.TemporaryDirectory(dir=home, prefix=".audit-") as made:
            work = Path(made)
            for case, name in zip(comparison.cases, names, strict=True):
                (work / name).mkdir()
                for file, table in audit_tables(case).items():
                    _write(table, work / name / file)
            _write(differing, work / "differences.csv")
            for name in names:
                (folder / name).mkdir(parents=True, exist_ok=True)
            written = [path.relative_to(work) for path in sorted(work.rglob("*.csv"))]
            for each in written:
                os.replace(work / each, folder / each)
    except OSError as error:
        raise ScenarioError(
            [
                Problem(
                    f"--out {folder}",
                    f"the folder cannot be written ({error.strerror or error})",
                    "It must be a folder, or a name that is free, where you may write.",
                    "Choose another folder.",
                )
            ]
        ) from error
    return [folder / each for each in written]


def folder_names(ids: list[str]) -> list[str]:
    """Return a safe folder name for each method id, no two alike."""
    names: list[str] = []
    for method in ids:
        base = re.sub(r"[^A-Za-z0-9_-]+", "_", method).strip("_") or "method"
        name, n = base, 2
        while name.lower() in (other.lower() for other in names):
            name, n = f"{base}_{n}", n + 1
        names.append(name)
    return names


def _write(table: pd.DataFrame, path: Path) -> None:
    table.to_csv(path, index=False, float_format="%.6f", lineterminator="\n")


def _dates(case: Case, offsets: np.ndarray[tuple[int], np.dtype[np.int64]]) -> list[str]:
    start = np.datetime64(case.plan.start_date)
    return [str(day) for day in start + offsets]


def _last_date(case: Case) -> int:
    return int(np.ceil(case.plan.finish.max())) + 1


def _progress(case: Case, tasks: pd.DataFrame) -> pd.DataFrame:
    plan = case.plan
    names = tasks["task"].to_numpy()
    return pd.DataFrame(
        {
            "task": names[plan.moved_task],
            "date": _dates(case, plan.moved_date),
            "work_days": plan.moved_work,
            "hook_hours": plan.moved_hook,
            "hoist_hours": plan.moved_hoist,
        }
    )


def _links(case: Case, tasks: pd.DataFrame) -> pd.DataFrame:
    plan = case.plan
    names = tasks["task"].to_numpy()
    kind = plan.links.kind
    lag = [
        _KIND_WORDS[int(k)] if k in (STRIKE, PROPS) else f"{days:.6f}"
        for k, days in zip(kind, plan.links.lag, strict=True)
    ]
    return pd.DataFrame(
        {
            "before": names[plan.network.before],
            "after": names[plan.network.after],
            "lag": lag,
            "lag_kind": ["release" if k in (STRIKE, PROPS) else _KIND_WORDS[int(k)] for k in kind],
            "cause": [CAUSES[k] for k in plan.network.cause],
        }
    )


def _calendars(case: Case) -> pd.DataFrame:
    dates = _last_date(case)
    conditions = case.plan.conditions
    share = np.vstack([conditions.share[:, :dates], conditions.open_dates[None, :dates]])
    names = [*CALENDARS, "site"]
    return pd.DataFrame(
        {
            "calendar": np.repeat(names, dates),
            "date": _dates(case, np.arange(dates)) * len(names),
            "fraction": share.ravel(),
        }
    )


def _hook(case: Case) -> pd.DataFrame:
    dates = _last_date(case)
    conditions, site = case.plan.conditions, case.site
    cranes = [crane.name for crane in case.plan.scenario.served]
    return pd.DataFrame(
        {
            "crane": np.repeat(cranes, dates),
            "date": _dates(case, np.arange(dates)) * len(cranes),
            "ordinary_available": conditions.hook_ordinary[:, :dates].ravel(),
            "large_available": conditions.hook_large[:, :dates].ravel(),
            "ordinary_used": (site.hook_used - site.hook_large_used)[:, :dates].ravel(),
            "large_used": site.hook_large_used[:, :dates].ravel(),
            "evening_available": conditions.hook_evening[:, :dates].ravel(),
        }
    )


def _hoist(case: Case) -> pd.DataFrame:
    dates = _last_date(case)
    names = list(case.takeoff.layout.names)
    return pd.DataFrame(
        {
            "block": np.repeat(names, dates),
            "date": _dates(case, np.arange(dates)) * len(names),
            "available": case.plan.conditions.hoist_hours[:, :dates].ravel(),
            "used": case.site.hoist_used[:, :dates].ravel(),
        }
    )


def _release(case: Case) -> pd.DataFrame:
    dates = _last_date(case)
    return pd.DataFrame(
        {
            "release": np.repeat(RELEASES, dates),
            "date": _dates(case, np.arange(dates)) * len(RELEASES),
            "days": case.plan.conditions.release[:, :dates].ravel(),
        }
    )


def assumptions(case: Case) -> pd.DataFrame:
    """Return every record as a method uses it.

    Parameters
    ----------
    case : Case

    Returns
    -------
    DataFrame
        Columns key, label, value, low, high, unit, evidence, mark, source, shared, overridden, why;
        `shared` is no where the method sets the record for itself.
    """
    values = case.plan.values
    own = {key for key, _setting in case.method.overrides}
    rows = []
    for key in sorted(values.library.records):
        record = values.record(key)
        rows.append(
            {
                "key": key,
                "label": record.label,
                "value": record.value,
                "low": record.low,
                "high": record.high,
                "unit": record.unit,
                "evidence": record.evidence,
                "mark": record.mark,
                "source": record.source,
                "shared": "no" if key in own else "yes",
                "overridden": "yes" if record.overridden else "no",
                "why": record.why,
            }
        )
    return pd.DataFrame(rows)
