"""Which rules these are is told by their sources: nobody has to remember to count."""

from __future__ import annotations

import shutil
from pathlib import Path

import pytest

import app
from app.judgement import rules_version, version_of

APP = Path(app.__file__).parent


@pytest.fixture
def copied(tmp_path: Path) -> Path:
    for room in ("judgement", "science", "charts"):
        shutil.copytree(APP / room, tmp_path / room, ignore=shutil.ignore_patterns("__pycache__"))
    return tmp_path


def test_the_same_sources_are_the_same_version_wherever_they_lie(copied: Path) -> None:
    assert version_of(copied) == version_of(APP) == rules_version()
    assert 0 <= rules_version() < 2**31


@pytest.mark.parametrize(
    "source",
    [
        "judgement/flags/steep.py",
        "judgement/programmes/builtin/barley/barley_pale.toml",
        "science/tables/equilibrium_moisture.csv",
    ],
)
def test_a_changed_rule_programme_or_table_is_another_version(copied: Path, source: str) -> None:
    file = copied / source
    file.write_bytes(file.read_bytes() + b"\n# 45 -> 46\n")
    assert version_of(copied) != rules_version()


def test_a_module_that_goes_or_is_renamed_is_another_version(copied: Path) -> None:
    (copied / "judgement" / "flags" / "steep.py").rename(copied / "judgement" / "flags" / "soak.py")
    assert version_of(copied) != rules_version()


def test_what_is_drawn_is_no_rule(copied: Path) -> None:
    (copied / "charts" / "hover.py").write_text("")
    assert version_of(copied) == rules_version()
