"""`chitbook serve --demo`: its own folder, new each time, and never a danger to real records."""

from collections.abc import Callable
from pathlib import Path

from .conftest import Command, QuickCommand, Server, snapshot

Start = Callable[..., Server]


def test_the_demo_is_made_anew_at_each_start(start: Start, tmp_path: Path) -> None:
    folder = tmp_path / "demo"
    start("--demo", "--data", folder).stop()
    (folder / "left-behind").mkdir()
    (folder / "left-behind" / "note").write_text("from the last time")
    server = start("--demo", "--data", folder)
    assert not (folder / "left-behind").exists()
    assert server.get("/") == 200


def test_the_demo_leaves_the_usual_folder_alone(start: Start, command: Command) -> None:
    start().stop()
    (usual,) = command.home.rglob("chitbook.sqlite")
    before = snapshot(usual.parent)
    demo = start("--demo")
    assert f"keeps its records in {usual.parent}." not in demo.greeting
    assert snapshot(usual.parent) == before


def test_the_demo_never_empties_a_folder_with_records(quick: QuickCommand, folder: Path) -> None:
    before = snapshot(folder)
    assert "--demo would empty it" in quick.refused("serve", "--demo", "--data", folder, "--port", "0")
    assert snapshot(folder) == before


def test_real_records_are_kept_out_of_the_demo_folder(start: Start, command: Command, tmp_path: Path) -> None:
    start("--demo", "--data", tmp_path / "demo").stop()
    assert "is the demo's folder" in command.refused("serve", "--data", tmp_path / "demo", "--port", "0")
