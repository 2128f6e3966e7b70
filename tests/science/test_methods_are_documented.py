"""Every public formula says what it takes, what it gives, where it comes from and the value that proves it."""

import importlib
import inspect
import pkgutil
import re

import pytest

import app.science

FUNCTIONS = {
    f"{module.name}.{name}": function
    for module in pkgutil.iter_modules(app.science.__path__)
    if not module.name.startswith("_")
    for name, function in inspect.getmembers(importlib.import_module(f"app.science.{module.name}"), inspect.isfunction)
    if not name.startswith("_") and function.__module__ == f"app.science.{module.name}"
}


@pytest.mark.parametrize("name", sorted(FUNCTIONS))
def test_a_public_formula_is_documented_in_full(name: str) -> None:
    text = inspect.getdoc(FUNCTIONS[name]) or ""
    for heading in ("Args:", "Returns:", "Source:", "Check:"):
        assert re.search(rf"^{heading}\s+\S", text, re.MULTILINE), f"{name} has no line {heading}"
    source = re.search(r"^Source:(.*?)^Check:", text, re.MULTILINE | re.DOTALL)
    assert source is not None
    assert re.search(r"\[[PTDCM]\b", source[1]), f"{name} does not mark its source"


def test_what_rests_on_a_formula_from_memory_is_not_called_published() -> None:
    sources = {
        name.rpartition(".")[2]: text[1]
        for name, function in FUNCTIONS.items()
        if (text := re.search(r"^Source:(.*?)^Check:", inspect.getdoc(function) or "", re.MULTILINE | re.DOTALL))
    }
    for name, source in sources.items():
        for other in re.findall(r"\bas (\w+)", source):
            if "[M]" in sources.get(other, ""):
                assert "[P]" not in source, f"{name} rests on {other}"
