"""Each noun of the web is held apart from the others by a contract of its own."""

from __future__ import annotations

import tomllib
from pathlib import Path

import app

WEB = Path(app.__file__).parent / "web"


def test_every_folder_with_routes_is_held_apart_from_the_others() -> None:
    project = tomllib.loads((WEB.parents[1] / "pyproject.toml").read_text(encoding="utf-8"))
    contracts = project["tool"]["importlinter"]["contracts"]
    (apart,) = [set(each["modules"]) for each in contracts if each["type"] == "independence"]
    with_routes = {f"app.web.{path.parent.name}" for path in WEB.glob("*/routes.py")}
    assert with_routes
    assert with_routes - apart == set(), "name it in the contract in pyproject.toml"
