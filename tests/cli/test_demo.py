"""`chitbook serve --demo`: its own folder, new each time, and never a danger to real records."""

import os
import shutil
from collections.abc import Iterator
from dataclasses import dataclass
from pathlib import Path
from unittest.mock import patch

import pytest

from app.config import load_settings
from app.folder import empty_demo_folder, make_folder

from .conftest import Command, QuickCommand, Server, snapshot


@dataclass
class Demo:
    """A demo that was started over an earlier one, beside a folder with records."""

    server: Server
    folder: Path
    usual: Path
    usual_before: dict[str, bytes]


@pytest.fixture(scope="module")
def demo(tmp_path_factory: pytest.TempPathFactory, migrated: Path) -> Iterator[Demo]:
    command = Command(tmp_path_factory.mktemp("home"))
    with patch.dict(os.environ, command.environment, clear=True):
        usual, folder = (load_settings(is_demo=each).data_dir for each in (False, True))
    shutil.copytree(migrated, usual)
    make_folder(folder)
    empty_demo_folder(folder)
    shutil.copy(migrated / "chitbook.sqlite", folder)
    (folder / "left-behind").mkdir()
    (folder / "left-behind" / "note").write_text("from the last time")
    before = snapshot(usual)
    server = Server(command, "--demo")
    yield Demo(server, folder, usual, before)
    server.end()


def test_the_demo_is_made_anew_at_each_start(demo: Demo) -> None:
    assert f"keeps its records in {demo.folder}." in demo.server.greeting
    assert not (demo.folder / "left-behind").exists()
    assert demo.server.get("/") == 200
    assert demo.server.get("/batches/7/tub") == 200


def test_the_demo_leaves_the_usual_folder_alone(demo: Demo) -> None:
    assert snapshot(demo.usual) == demo.usual_before


def test_the_demo_never_empties_a_folder_with_records(quick: QuickCommand, folder: Path) -> None:
    before = snapshot(folder)
    assert "--demo would empty it" in quick.refused("serve", "--demo", "--data", folder, "--port", "0")
    assert snapshot(folder) == before


def test_real_records_are_kept_out_of_the_demo_folder(demo: Demo, quick: QuickCommand) -> None:
    demo.server.stop()
    assert "is the demo's folder" in quick.refused("serve", "--data", demo.folder, "--port", "0")
