"""The how-tos of DEVELOPERS.md, followed to the letter in a copy of the project: what they don't name is not touched.

Each adds something made up; then the copy's own tests walk it.
"""

from __future__ import annotations

import os
import re
import shutil
import subprocess
import sys
from collections.abc import Mapping
from fnmatch import fnmatch
from pathlib import Path

import pytest

ROOT = Path(__file__).parents[2]
COPIED = ("app", "tests", "docs", "migrations", "seed_data", "pyproject.toml", "DEVELOPERS.md")
AT_END, NEW = "", None

Steps = Mapping[str, tuple[str | None, str]]
"""By file: the line before which something is written, or AT_END, or NEW; and what is written there."""

KIND: Steps = {
    "app/science/units.py": (
        '        Unit("number", "", "number", 1.0),\n',
        '        Unit("ms_cm", "mS/cm", "conductivity", 1.0, decimals=2),\n',
    ),
    "app/judgement/facts/kinds.py": (
        '    make.weighing(\n        "test_bag_start",\n',
        '    make.reading("salts", "Salts of the water", "conductivity", 0.0, 200.0),\n',
    ),
    "tests/examples.py": ('    "kernel_weight": _reading', '    "salts": _reading("3.2", "ms_cm"),\n'),
}
UNIT_EVERYWHERE = ('_EVERYWHERE |= {"co2"', '_EVERYWHERE |= {"conductivity": "ms_cm"}\n')
FLAG: Steps = {
    "app/judgement/flags/steep.py": (
        "RULES = (\n",
        '''def made_up_frost(batch: BatchAt) -> Iterator[Flag]:
    """Water near freezing, made up for a test."""
    for reading in batch.history.readings("water_temperature"):
        if reading.value is not None and reading.value < 1.0:
            said = Message("Ice", "It hardly takes up water.", "Take warmer water.")
            yield raised(batch, "made_up_frost", "notice", [reading], said, "common practice", ends_at=reading.at)


''',
    ),
    "tests/judgement/flags/test_steep.py": (
        AT_END,
        """

@pytest.mark.parametrize(("value", "flags"), [(0.9, 1), (1.1, 0)])
def test_made_up_frost(value: float, flags: int) -> None:
    story = Story().begin()
    story.read(1, "water_temperature", value)
    assert len(story.flags(2, "made_up_frost")) == flags
""",
    ),
}
RULE = ('    Rule("spoiling"', '    Rule("made_up_frost", "Ice", made_up_frost),\n')
PAGE: Steps = {
    "app/web/made_up_bell/__init__.py": (NEW, ""),
    "app/web/made_up_bell/routes.py": (
        NEW,
        '''"""A page made up for a test."""

from flask import Blueprint, render_template

made_up_bell = Blueprint("made_up_bell", __name__)


@made_up_bell.get("/bell")
def show() -> str:
    return render_template("made_up_bell/page.html")
''',
    ),
    "app/web/templates/made_up_bell/page.html": (
        NEW,
        '{% extends "base.html" %}{% block content %}<p>It rings.</p>{% endblock %}\n',
    ),
    "app/web/__init__.py": ('    "malt",\n', '    "made_up_bell",\n'),
    "app/web/access/roles.py": ('    "malt": MAY_LOG,\n', '    "made_up_bell": MAY_LOG,\n'),
    "tests/browser/test_accessible.py": ('    "/nowhere",\n', '    "/bell",\n'),
    "tests/web/test_made_up_bell.py": (
        NEW,
        """from flask.testing import FlaskClient


def test_made_up_bell(client: FlaskClient) -> None:
    assert "It rings." in client.get("/bell").text
""",
    ),
}
FORMULA: Steps = {
    "app/science/moisture.py": (
        AT_END,
        '''

def made_up_half(mass_kg: float) -> float:
    """Halve a mass, for a test.

    Args: mass_kg: kg.
    Returns: kg.
    Source: made up [D].
    Check: half of 3 kg is 1.5 kg.
    """
    return mass_kg / 2.0
''',
    ),
    "tests/science/test_moisture.py": (
        AT_END,
        "\n\ndef test_made_up_half() -> None:\n    assert moisture.made_up_half(3.0) == 1.5\n",
    ),
}
SETTING: Steps = {
    "app/config.py": (
        '    lan: bool = _setting(\n        "no"',
        '    made_up_bell: str = _setting("ding", parse_name, "How the bell sounds.")\n',
    ),
    "docs/settings.md": (
        "| `lan` |",
        "| `made_up_bell` | `CHITBOOK_MADE_UP_BELL` | ding | How the bell sounds. |\n",
    ),
    "tests/house/test_settings.py": ('    "lan": "perhaps",\n', '    "made_up_bell": "two words",\n'),
}
GOOD_VALUE = ('    "lan": ("Yes", True),\n', '    "made_up_bell": ("Dong", "dong"),\n')
HOW_TOS: Mapping[str, Steps] = {
    "a kind of fact": KIND,
    "a flag": FLAG,
    "a page": PAGE,
    "a formula": FORMULA | {"docs/methods.md": ("", "")},
    "a setting": SETTING,
}
WALKED = (
    "salts or made_up or tub_knows or nothing_is_there_that or parts_name or guide_lists_nothing or page_is_as_the_code"
    " or no_public_formula or every_folder or every_endpoint or every_page_with_one or table_of_roles"
)
"""What of the copy's tests is about all that there is, or about what was made up."""


def how_to(title: str) -> str:
    """The paragraph that says how to add something."""
    text = (ROOT / "DEVELOPERS.md").read_text(encoding="utf-8")
    return text.split(f"**… add {title}.**")[1].split("\n\n")[0]


def named(paragraph: str) -> list[str]:
    """The files that it names, as patterns: what stands in angles is for the reader to choose."""
    quoted = re.findall(r"`([^`\n]+)`", paragraph)
    return [re.sub(r"<[^>]+>", "*", each) for each in quoted if re.search(r"^[a-z].*/.*\.[a-z]+$", each)]


@pytest.mark.parametrize("title", HOW_TOS)
def test_a_how_to_names_every_file_that_is_touched(title: str) -> None:
    files = named(how_to(title))
    assert [path for path in HOW_TOS[title] if not any(fnmatch(path, file) for file in files)] == []


@pytest.mark.parametrize("title", [*HOW_TOS, "a working"])
def test_every_file_that_a_how_to_names_is_there(title: str) -> None:
    missing = [file for file in named(how_to(title)) if not any(ROOT.glob(file.replace("python ", "")))]
    assert missing == []


def write(path: Path, before: str | None, added: str) -> None:
    if before is NEW:
        path.parent.mkdir(parents=True, exist_ok=True)
        path.write_text(added, encoding="utf-8")
        return
    text = path.read_text(encoding="utf-8")
    assert before == AT_END or text.count(before) == 1, f"{path}: {before!r}"
    path.write_text(text.replace(before, added + before) if before else text + added, encoding="utf-8")


@pytest.fixture(scope="module")
def copy(tmp_path_factory: pytest.TempPathFactory) -> Path:
    """The project with all how-tos followed."""
    root = tmp_path_factory.mktemp("copy")
    for name in COPIED:
        source = ROOT / name
        if source.is_dir():
            shutil.copytree(source, root / name, ignore=shutil.ignore_patterns("__pycache__", "pictures"))
        else:
            shutil.copy(source, root / name)
    for steps in (KIND, FLAG, PAGE, FORMULA, SETTING):
        for path, (before, added) in steps.items():
            write(root / path, before, added)
    write(root / "app/science/units.py", *UNIT_EVERYWHERE)
    write(root / "app/judgement/flags/steep.py", *RULE)
    write(root / "tests/house/test_settings.py", *GOOD_VALUE)
    run(root, "docs/make_methods.py")
    return root


def run(root: Path, *arguments: str) -> str:
    """What a Python in the copy prints; it sees the copy's app, and nothing of the run that it is part of."""
    environment = {name: value for name, value in os.environ.items() if not name.startswith(("PYTEST", "CHITBOOK"))}
    done = subprocess.run(
        [sys.executable, *arguments],
        cwd=root,
        env=environment | {"PYTHONPATH": str(root), "PYTHONDONTWRITEBYTECODE": "1"},
        capture_output=True,
        text=True,
    )
    assert done.returncode == 0, done.stdout[-4000:] + done.stderr[-2000:]
    return done.stdout


def test_what_was_added_by_them_passes_the_tests_that_walk_all_that_there_is(copy: Path) -> None:
    assert str(copy) in run(copy, "-c", "import app; print(app.__file__)")
    house = [f"tests/house/test_{name}.py" for name in ("registry", "settings", "methods_doc", "web_nouns")]
    pages = ["tests/network/test_gate.py", *(f"tests/web/test_{name}.py" for name in ("methods", "tub_entries"))]
    pages += ["tests/web/test_made_up_bell.py", "tests/browser/test_accessible.py"]
    rules = ["tests/judgement/flags/test_steep.py", "tests/science/test_moisture.py"]
    told = run(copy, "-m", "pytest", "-n", "0", "-rp", "-p", "no:cacheprovider", *house, *pages, *rules, "-k", WALKED)
    passed = [line for line in told.splitlines() if line.startswith("PASSED")]
    for of in ("a_form_filled_with_the_example_says_what_the_example_says[salts]", "test_it_works[salts]"):
        assert any(of in line for line in passed), of
    for of in ("[kind.salts]", "test_made_up_frost", "test_made_up_bell", "test_made_up_half"):
        assert any(of in line for line in passed), of
    for of in ("page_is_as_the_code_says_it_now", "[made_up_bell]", "every_endpoint_has_a_role", "every_page_with_one"):
        assert any(of in line for line in passed), of
