"""House style holds: ruff on everything, mypy strict on the model."""

from __future__ import annotations

import subprocess
import sys
from pathlib import Path

ROOT = Path(__file__).parents[1]


def _run(*command: str) -> None:
    done = subprocess.run(
        [sys.executable, "-m", *command], cwd=ROOT, capture_output=True, text=True, check=False
    )
    assert done.returncode == 0, done.stdout + done.stderr


def test_ruff_finds_nothing():
    _run("ruff", "check", ".")
    _run("ruff", "format", "--check", ".")


def test_mypy_strict_holds_on_the_model():
    _run("mypy")
