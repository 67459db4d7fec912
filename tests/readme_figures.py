"""The blocks of figures in README.md, from the model; `python tests/readme_figures.py` writes them anew."""

from __future__ import annotations

import datetime as dt
import importlib.util
import re
import sys
from dataclasses import replace
from pathlib import Path
from typing import Any

from model import compare_methods, load_scenario
from model.compare import Comparison
from model.core.words import day, money, sooner
from model.inputs.method import read_catalogue
from model.pipeline import build_cases

ROOT = Path(__file__).parents[1]
BLOCKS = ("figures", "checks")
"""Blocks of the README between their marks: the worked scenario, and what the trade expects beside it."""


def block(figures: dict[str, Any]) -> str:
    """Return the block between the marks, for the comparison of the pitch scenario."""
    first, second = figures["methods"].values()
    difference = figures["difference"]
    walls = difference["walls_only"]

    def date(method: dict[str, Any], key: str) -> str:
        return day(dt.date.fromisoformat(method[key]))

    rows = [
        ("First handover", date(first, "first_handover"), date(second, "first_handover")),
        ("Last handover", date(first, "last_handover"), date(second, "last_handover")),
        ("Weeks to the last handover", *(f"{m['weeks_to_last_handover']:.1f}" for m in (first, second))),
        ("Trades on site", *(str(m["trades"]) for m in (first, second))),
        ("Operative-days", *(f"{m['operative_days']:,.0f}" for m in (first, second))),
        ("Paid hours a m²", *(f"{m['hours_per_m2']:.1f}" for m in (first, second))),
        ("Hours at an open edge", *(f"{m['open_edge_hours']:,.0f}" for m in (first, second))),
        ("Crane hook hours", *(f"{m['hook_hours']:,.0f}" for m in (first, second))),
        ("Lorry loads", *(f"{m['loads']:,.0f}" for m in (first, second))),
        ("Panel premium", *(money(m["cost"]["premium"]) for m in (first, second))),
        ("Finance", *(money(m["cost"]["finance"]) for m in (first, second))),
        ("Profit", *(money(m["profit"]) for m in (first, second))),
        ("A week sooner is worth", *(money(m["value_of_a_week"]["total"]) for m in (first, second))),
    ]
    lines = ["| | open frame | panels |", "|---|---:|---:|"]
    lines += [f"| {name} | {one} | {other} |" for name, one, other in rows]
    lines += [
        "",
        f"Panels against the open frame: first handover {sooner(difference['weeks_to_first_handover'])}, "
        f"last {sooner(difference['weeks_to_last_handover'])}, profit {money(difference['profit'])}. "
        f"Owed to the walls alone (only the wall elements switched): first handover "
        f"{sooner(walls['weeks_to_first_handover'])}, last {sooner(walls['weeks_to_last_handover'])}, "
        f"profit {money(walls['profit'])}.",
    ]
    return "\n".join([*lines, "", variants()])


def variants() -> str:
    """Return what other choices of options give on the pitch scenario, against the open frame."""
    scenario = load_scenario(ROOT / "scenarios" / "pitch.toml")
    usual, panelised = scenario.methods[:2]

    def with_options(**chosen: str) -> Any:
        options = tuple((element, chosen.get(element, own)) for element, own in panelised.options)
        return replace(panelised, options=options)

    best = replace(usual, options=tuple(read_catalogue().methods["open_frame_best"].items()))
    tried = {
        "with the separating walls lined in place": with_options(separating_wall="lined"),
        "with the outer panels set through the open edge as well": with_options(
            separating_wall="lined", outer_wall="panel_through_edge"
        ),
        "the best open frame (precast columns, panel decking, no panels)": best,
    }
    first, *others = build_cases(scenario, [usual, *tried.values()])
    said = [
        f"{name}, {sooner(first.weeks_to_last_handover - case.weeks_to_last_handover)}"
        for name, case in zip(tried, others, strict=True)
    ]
    return f"Last handover against the open frame with other choices: {'; '.join(said)}."


def checks(comparison: Comparison) -> str:
    """Return the check values of the trade beside the model's figures, as a Markdown table."""
    path = Path(__file__).with_name("check_values.py")
    spec = importlib.util.spec_from_file_location("check_values", path)
    assert spec
    assert spec.loader
    module = importlib.util.module_from_spec(spec)
    sys.modules.setdefault("check_values", module)
    spec.loader.exec_module(module)
    lines = ["| check value | the trade says | open frame | panels | |", "|---|---|---:|---:|---|"]
    for row in module.rows(comparison):
        figures = [row.figures.get(case.method.id) for case in comparison.cases[:2]]
        cells = ["" if figure is None else f"{figure:,.1f}" for figure in figures]
        why = row.why if row.outside() or row.trade == "reported" else ""
        lines.append(f"| {row.label} | {row.trade} {row.unit} | {cells[0]} | {cells[1]} | {why} |")
    return "\n".join(lines)


def in_readme(text: str, name: str) -> str:
    """Return what stands between the marks of a block in a README."""
    found = re.search(f"<!-- {name}: start -->\n(.*?)\n<!-- {name}: end -->", text, flags=re.DOTALL)
    assert found, f"README.md has lost the marks of its {name}"
    return found.group(1)


def wanted() -> dict[str, str]:
    """Return what each block should hold."""
    comparison = compare_methods(load_scenario(ROOT / "scenarios" / "pitch.toml"))
    return {"figures": block(comparison.as_json()), "checks": checks(comparison)}


def write() -> None:
    """Put the blocks into README.md."""
    path = ROOT / "README.md"
    text = path.read_text(encoding="utf-8")
    for name, content in wanted().items():
        text = text.replace(in_readme(text, name), content)
    path.write_text(text, encoding="utf-8")


if __name__ == "__main__":
    write()
