"""What several tests share: each scenario is compared once a session, each audit pack written once."""

from __future__ import annotations

import datetime as dt
from functools import cache
from pathlib import Path

import pytest
from hypothesis import settings

from model import compare_methods, load_scenario
from model.report.audit import write_audit

ROOT = Path(__file__).parents[1]
TODAY = dt.date(2026, 11, 25)

settings.register_profile("shared machine", deadline=None)  # how long a step takes is no check of the model
settings.load_profile("shared machine")


@cache
def _compared(name):
    return compare_methods(load_scenario(ROOT / "scenarios" / f"{name}.toml", today=TODAY))


@pytest.fixture(scope="session")
def compared():
    """Comparison of a shipped scenario by its name."""
    return _compared


@pytest.fixture(scope="session")
def pack_folder(compared, tmp_path_factory):
    """Folder of the audit pack of a shipped scenario by its name."""

    @cache
    def folder(name):
        place = tmp_path_factory.mktemp("audit") / name
        write_audit(compared(name), place)
        return place

    return folder
