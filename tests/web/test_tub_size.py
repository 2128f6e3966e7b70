"""What the tub page costs over the air: all of it at first, and what comes again each time."""

from __future__ import annotations

import re
import shutil
from pathlib import Path

import pytest
from flask.testing import FlaskClient

from app.config import Settings
from app.web.sync.worker import scripts

FIRST_BYTES, LATER_BYTES, SCRIPT_BYTES = 40_000, 10_000, 25_000
PACKED = {"Accept-Encoding": "br"}


@pytest.fixture
def settings(settings: Settings, demo_file: Path) -> Settings:
    """The house is the demo malthouse."""
    shutil.copy(demo_file, settings.database_file)
    return settings


@pytest.mark.usefixtures("morning")
@pytest.mark.parametrize("number", [7, 8])
def test_a_later_visit_to_the_tub_costs_at_most_ten_kilobytes(client: FlaskClient, number: int) -> None:
    answer = client.get(f"/batches/{number}/tub", headers=PACKED)
    assert answer.headers["Content-Encoding"] == "br"
    assert len(answer.data) <= LATER_BYTES


@pytest.mark.usefixtures("morning")
def test_the_first_visit_to_the_tub_costs_at_most_forty_kilobytes(client: FlaskClient) -> None:
    page = client.get("/batches/7/tub", headers=PACKED)
    text = client.get("/batches/7/tub").text
    parts = set(re.findall(r'(?:href|src)="(/static/[^"]+)"', text))
    scripts = [part for part in parts if part.endswith(".js")]
    imported = {
        f"{script.rsplit('/', 1)[0]}/{name}"
        for script in scripts
        for name in re.findall(r'from "\./([^"]+)"', client.get(script).text)
    }
    sizes = {part: len(client.get(part, headers=PACKED).data) for part in parts | imported}
    assert imported, sizes
    assert len(page.data) + sum(sizes.values()) <= FIRST_BYTES, sizes


@pytest.mark.usefixtures("morning")
def test_all_scripts_of_the_tub_page_are_small_even_those_that_few_ever_load(client: FlaskClient) -> None:
    folder = re.findall(r'src="(/static/[^/]+)/', client.get("/batches/7/tub").text)[0]
    sizes = {name: len(client.get(f"{folder}/{name}", headers=PACKED).data) for name in {*scripts(), "js/sw.js"}}
    assert len(sizes) > 15
    assert sum(sizes.values()) <= SCRIPT_BYTES, sizes
