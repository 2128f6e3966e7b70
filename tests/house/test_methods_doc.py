"""docs/methods.md and the handbook it is made of: every public formula, once, as the code says it now."""

from __future__ import annotations

import importlib
import importlib.util
import inspect
import pkgutil
from pathlib import Path
from types import ModuleType

import pytest

import app.science
from app.science.handbook import MARK_WORDS, Method, chapters, marks_in_words, methods

ROOT = Path(__file__).parents[2]
PAGE = ROOT / "docs" / "methods.md"

CHAPTERS = [
    importlib.import_module(f"app.science.{each.name}")
    for each in pkgutil.iter_modules(app.science.__path__)
    if not each.name.startswith("_") and each.name != "handbook"
]
PUBLIC = {
    f"{module.__name__.rpartition('.')[2]}.{name}"
    for module in CHAPTERS
    for name, value in inspect.getmembers(module, inspect.isfunction)
    if not name.startswith("_") and value.__module__ == module.__name__
}


@pytest.fixture(scope="module")
def generator() -> ModuleType:
    spec = importlib.util.spec_from_file_location("make_methods", ROOT / "docs" / "make_methods.py")
    assert spec is not None
    assert spec.loader is not None
    module = importlib.util.module_from_spec(spec)
    spec.loader.exec_module(module)
    return module


def test_the_page_is_as_the_code_says_it_now(generator: ModuleType) -> None:
    page = PAGE.read_text(encoding="utf-8")
    assert page == generator.render(generator.kept_part(page), generator.kept_part(page, "truth")), (
        "run: python docs/make_methods.py"
    )


def test_what_the_backtest_wrote_is_kept(generator: ModuleType) -> None:
    table = "| weighings | error |\n|---|---|\n| 1 | 2.0 |"
    assert generator.kept_part(generator.render(table)) == table


def test_the_backtest_stands_in_the_table_of_contents() -> None:
    contents, _, body = PAGE.read_text(encoding="utf-8").partition("\n<a id=")
    assert "- [How well the forecasts did](#backtest)" in contents
    assert '<a id="backtest"></a>\n\n## How well the forecasts did' in body


def test_no_public_formula_lacks_an_entry() -> None:
    assert set(methods()) == PUBLIC
    assert len(PUBLIC) > 100


def test_every_chapter_is_there_once_with_a_title_of_its_own() -> None:
    titles = [each.title for each in chapters()]
    assert len(set(titles)) == len(titles) == len(CHAPTERS)
    assert {each.key for each in chapters()} == {module.__name__.rpartition(".")[2] for module in CHAPTERS}


@pytest.mark.parametrize("method", methods().values(), ids=lambda method: method.anchor)
def test_an_entry_has_every_part(method: Method) -> None:
    assert all((method.summary, method.args, method.returns, method.source, method.check))
    assert method.marks
    assert set(method.marks) <= set(MARK_WORDS)
    assert "\n" not in "".join((method.args, method.returns, method.source, method.check))


def test_arguments_written_as_a_list_read_as_a_sentence() -> None:
    assert methods()["drying.lewis_moisture_ratio"].args == (
        "hours: time, h, 0 or more; rate_per_h: k, 1/h, 0 or more (3600 times a rate in 1/s)."
    )


def test_marks_are_written_out() -> None:
    assert marks_in_words("Wilson 1927 [P]; equal tails [D]") == "Wilson 1927 (published); equal tails (derived)"
    assert marks_in_words("first order [M, D]") == "first order (from memory, derived)"
    assert (
        marks_in_words("an interval [0, 1], Muller [P, secondary]")
        == "an interval [0, 1], Muller (published, secondary)"
    )
