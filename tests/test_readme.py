"""What README.md says is true: its figures, its commands, its files."""

from __future__ import annotations

import importlib.util
import re
from pathlib import Path

import pytest

ROOT = Path(__file__).parents[1]
README = (ROOT / "README.md").read_text(encoding="utf-8")


@pytest.fixture(scope="module")
def figures_module():
    spec = importlib.util.spec_from_file_location(
        "readme_figures", Path(__file__).with_name("readme_figures.py")
    )
    module = importlib.util.module_from_spec(spec)
    spec.loader.exec_module(module)
    return module


def test_the_worked_scenario_gives_the_figures_printed(figures_module):
    wanted = figures_module.wanted()
    assert set(wanted) == set(figures_module.BLOCKS)
    for name, content in wanted.items():
        assert figures_module.in_readme(README, name) == content


def test_ci_calls_exactly_the_test_command():
    command = re.search(r"^python3 -m venv .*pytest$", README, flags=re.MULTILINE)
    assert command
    assert command.group(0) in (ROOT / ".ci" / "run").read_text(encoding="utf-8").splitlines()


def test_every_file_named_is_there():
    for name in re.findall(r"`((?:scenarios|model|dashboard|tests)/[\w./-]+)`", README):
        assert (ROOT / name).exists(), name
