"""The pages of the web: each is registered under its folder's name, and none knows another."""

from __future__ import annotations

from itertools import permutations
from pathlib import Path

import grimp

import app
from app.web import PAGES

WEB = Path(app.__file__).parent / "web"


def test_every_folder_with_routes_is_registered() -> None:
    assert set(PAGES) == {path.parent.name for path in WEB.glob("*/routes.py")}


def test_no_page_imports_another_they_meet_in_the_rooms_that_all_share() -> None:
    graph = grimp.build_graph("app", cache_dir=None)
    known = {f"app.web.{noun}" for noun in PAGES}
    assert known <= graph.modules
    chains = {
        f"{one} knows {other}"
        for one, other in permutations(known, 2)
        if graph.find_shortest_chain(one, other, as_packages=True)
    }
    assert chains == set()
