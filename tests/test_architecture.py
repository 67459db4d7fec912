"""Packages import from the left only, the model knows no page, and no code asks for a name in the library.

The order is that of DEVELOPERS.md. Each guard is shown to fail on a deliberate fault in a copy of a tree.
"""

from __future__ import annotations

import ast
import re
import sys
import tomllib
from pathlib import Path

import pytest

from model.inputs.method import read_catalogue

ROOT = Path(__file__).parents[1]
ORDER = (
    "core", "physics", "inputs", "quantities", "programme", "site", "money", "compare", "pipeline", "explain",
    "risk", "report", "dashboard",
)  # fmt: skip
FACES = ("streamlit", "plotly", "dashboard")


def sources(root: Path, *folders: str) -> list[Path]:
    return sorted(path for folder in folders for path in (root / folder).rglob("*.py"))


def imports_of(path: Path, root: Path) -> list[tuple[int, str]]:
    """Line and dotted name of everything a file imports, at whatever depth, relative imports resolved."""
    package = path.relative_to(root).with_suffix("").parts[:-1]
    found = []
    for node in ast.walk(ast.parse(path.read_text(encoding="utf-8"))):
        if isinstance(node, ast.Import):
            found += [(node.lineno, alias.name) for alias in node.names]
        elif isinstance(node, ast.ImportFrom):
            above = package[: len(package) + 1 - node.level] if node.level else ()
            module = ".".join([*above, *([node.module] if node.module else [])])
            if module in (
                "model",
                "dashboard",
            ):  # `from model import x`: x is a package, or __init__ brings it
                found += [(node.lineno, f"{module}.{alias.name}") for alias in node.names]
            else:
                found.append((node.lineno, module))
    return found


def place_in_order(name: str) -> int | None:
    """Place of a module of this project in the order; None for anybody else's."""
    first, *rest = name.split(".")
    if first == "dashboard":
        return ORDER.index("dashboard")
    if first != "model":
        return None
    if rest and rest[0] in ORDER:
        return ORDER.index(rest[0])
    return ORDER.index("pipeline")  # the package itself hands out what the pipeline does


def wrong_imports(root: Path) -> list[str]:
    """Every import that goes the wrong way, or that a package may not have at all."""
    wrong = []
    for path in sources(root, "model", "dashboard"):
        parts = path.relative_to(root).with_suffix("").parts
        own = place_in_order(".".join(parts[:2]))
        for line, name in imports_of(path, root):
            first = name.split(".")[0]
            at = f"{path.relative_to(root)}:{line} imports {name}"
            if parts[0] == "model" and first in FACES:
                wrong.append(f"{at}, a face")
            elif parts[0] == "dashboard" and first in ("parts", "pages"):
                wrong.append(f"{at} without its package")
            elif (theirs := place_in_order(name)) is not None and theirs > own:
                wrong.append(f"{at}, which stands to its right")
    return wrong


def test_every_package_of_the_model_has_its_place():
    packages = {
        path.name for path in (ROOT / "model").iterdir() if path.is_dir() and path.name != "__pycache__"
    }
    modules = {path.stem for path in (ROOT / "model").glob("*.py")} - {"__init__"}
    assert packages | modules <= set(ORDER)


def test_packages_import_only_from_their_left():
    assert wrong_imports(ROOT) == []


@pytest.mark.parametrize(
    ("place", "text", "said"),
    [
        ("model/core/a.py", "import model.physics.b", "model/core/a.py:1 imports model.physics.b, which"),
        ("model/site/a.py", "def f():\n    import model.money", "model/site/a.py:2 imports model.money,"),
        ("model/inputs/a.py", "from model import programme", "imports model.programme, which stands to its"),
        ("model/inputs/a.py", "from model import build_case", "imports model.build_case, which stands to"),
        ("model/physics/a.py", "from ..inputs import x", "imports model.inputs, which stands to its right"),
        ("model/pipeline.py", "from model.explain import x", "imports model.explain, which stands to its"),
        ("model/report/a.py", "from dashboard.cli import main", "imports dashboard.cli, a face"),
        ("model/risk/a.py", "def f():\n    import plotly.io", "model/risk/a.py:2 imports plotly.io, a face"),
        ("model/core/a.py", "import streamlit as st", "imports streamlit, a face"),
        ("dashboard/pages/a.py", "from parts.charts import x", "imports parts.charts without its package"),
    ],
)  # fmt: skip
def test_the_guard_sees_a_wrong_import(tmp_path, place, text, said):
    file = tmp_path / place
    file.parent.mkdir(parents=True)
    file.write_text(text)
    wrong = wrong_imports(tmp_path)
    assert len(wrong) == 1
    assert said in wrong[0]


def test_the_guard_lets_right_imports_pass(tmp_path):
    for place, text in (
        (
            "model/money/a.py",
            "from model.core import errors\nfrom model.site.deliveries import x\nimport numpy",
        ),
        ("model/__init__.py", "from model.pipeline import build_case"),
        (
            "dashboard/app.py",
            "import streamlit\nfrom model import build_case\nfrom dashboard.parts import charts",
        ),
    ):
        file = tmp_path / place
        file.parent.mkdir(parents=True, exist_ok=True)
        file.write_text(text)
    assert wrong_imports(tmp_path) == []


def named_after_a_library(root: Path) -> list[str]:
    """Files that would hide a library: the page's own folder stands first on the path when it runs."""
    project = tomllib.loads((ROOT / "pyproject.toml").read_text())["project"]
    listed = [
        *project["dependencies"],
        *(x for extra in project["optional-dependencies"].values() for x in extra),
    ]
    ours = {re.split(r"[<>=\[ ;]", name)[0].replace("-", "_").lower() for name in listed}
    ours |= {"pptx", "docx", "rich", "scipy"}  # names under which they are imported
    on_the_path = {(root / "dashboard" / name).with_suffix("") for name in sys.stdlib_module_names}
    hidden = [
        path
        for path in sources(root, "dashboard", "model")
        if path.stem in ours or {path.with_suffix(""), path.parent} & on_the_path
    ]
    return [str(path.relative_to(root)) for path in hidden if path.stem != "__init__"]


def test_no_file_is_named_after_a_library(tmp_path):
    assert named_after_a_library(ROOT) == []
    faults = [
        "dashboard/calendar.py",
        "dashboard/parts/plotly.py",
        "dashboard/site/a.py",
        "model/risk/numpy.py",
    ]
    for place in [*faults, "dashboard/app.py", "dashboard/views/site.py", "model/core/calendar.py"]:
        (tmp_path / place).parent.mkdir(parents=True, exist_ok=True)
        (tmp_path / place).touch()
    assert named_after_a_library(tmp_path) == faults


EXCEPTIONS = {
    # words that are also names of options or elements, by file, and what they mean there
    "model/inputs/assumption.py": {"standard": "a grade of evidence"},
    "model/physics/weather.py": {"flat": "the shape of a load"},
    "model/money/account.py": {"finish": "a column of the preliminaries"},
    "model/money/costs.py": {"finish": "a column of time_costs.csv"},
    "model/money/payments.py": {"finish": "a column of factory_payments.csv"},
    "model/programme/plan.py": {"finish": "a column of tasks.csv"},
    "model/inputs/scenario.py": {
        "open_frame": "compared where a scenario names no methods",
        "panelised": "compared where a scenario names no methods",
    },
    "model/report/frames.py": {"finish": "a column"},
}


def names_of_the_library() -> set[str]:
    catalogue = read_catalogue()
    return {*catalogue.methods, *catalogue.elements, *(option for _element, option in catalogue.options)}


def names_used(root: Path, names: set[str]) -> list[tuple[str, int, str]]:
    """File, line and literal wherever code spells a name of the library, alone or in a dotted key."""
    found = []
    for path in sources(root, "model"):
        tree = ast.parse(path.read_text(encoding="utf-8"))
        told = {id(node.value) for node in ast.walk(tree) if isinstance(node, ast.Expr)}
        for node in ast.walk(tree):
            if isinstance(node, ast.Constant) and isinstance(node.value, str) and id(node) not in told:
                text = node.value
                owned = (
                    text.startswith(("option.", "method.", "element.")) and set(text.split(".")[1:]) & names
                )
                if text in names or owned:
                    found.append((str(path.relative_to(root)), node.lineno, text))
    return found


def test_no_code_of_the_model_asks_for_the_name_of_a_method_an_element_or_an_option():
    used = names_used(ROOT, names_of_the_library())
    strange = [hit for hit in used if hit[2] not in EXCEPTIONS.get(hit[0], ())]
    assert strange == []
    assert {(file, word) for file, _line, word in used} == {
        (file, word) for file, words in EXCEPTIONS.items() for word in words
    }, "an exception that is no longer needed must go"


@pytest.mark.parametrize(
    "text",
    [
        "def f(method):\n    return method.like == 'panelised'",
        "def f(options):\n    return 'loose_props' in options",
        "def f(values):\n    return values['option.deck.panel_decking.sets']",
        "def f(method):\n    return method.option('outer_wall')",
    ],
)
def test_the_guard_sees_a_name_that_is_asked_for(tmp_path, text):
    file = tmp_path / "model" / "a.py"
    file.parent.mkdir()
    file.write_text(f'"""Told of panelised and of deck: no fault."""\n{text}\n')
    assert [line for _file, line, _name in names_used(tmp_path, names_of_the_library())] == [3]


def compared_with_names(root: Path) -> set[str]:
    """Files with comparisons in which the constant that names two methods stands."""
    found = set()
    for path in sources(root, "model"):
        for node in ast.walk(ast.parse(path.read_text(encoding="utf-8"))):
            if isinstance(node, ast.Compare):
                words = {n.id for n in ast.walk(node) if isinstance(n, ast.Name)}
                if "COMPARED" in words:
                    found.add(str(path.relative_to(root)))
    return found


def test_the_two_names_that_stand_in_code_are_only_a_default():
    assert compared_with_names(ROOT) == {"model/inputs/scenario.py"}  # whether a file need name its methods
