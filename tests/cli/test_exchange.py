"""`chitbook export` and `chitbook import`: everything comes across, into an empty folder only, all of it or nothing."""

import json
from pathlib import Path

import pytest

from app.config import Settings
from app.operations.batches import open_batch
from app.operations.lots import create_lot
from app.operations.programmes import ensure_builtin_programmes
from app.ports import new_id, now
from app.store.engine import open_database, write_session
from app.store.programmes import ProgrammeRevision
from tests.writing import arrival, taken_in

from .conftest import Command, QuickCommand

AT = "2026-03-14T09:30:00Z"


@pytest.fixture
def recorded(folder: Path) -> Path:
    """A folder with a lot, and a batch charged from it."""
    settings, lot_id, batch_id = Settings(data_dir=folder), new_id(), new_id()
    times = {"at": AT, "written_at": AT, "clock": "now"}
    with open_database(settings.database_url) as engine, write_session(engine) as session:
        ensure_builtin_programmes(session, now=now())
        intake = taken_in(lot_id, id=new_id(), **times, typed={"net": "500"})
        create_lot(session, lot_id=lot_id, name="Field by the river", species="barley", now=now(), facts=[intake])
        part = {
            "id": new_id(),
            **times,
            "kind": "charge",
            "typed": {"source": f"lot:{lot_id}", "as_is": "25", "moisture": "13"},
        }
        programme = session.query(ProgrammeRevision).order_by(ProgrammeRevision.key).first()
        assert programme is not None
        parts = [arrival(part, batch_id)]
        open_batch(session, batch_id=batch_id, species="barley", programme=programme.digest, parts=parts, now=now())
    return folder


def test_what_was_exported_comes_back_the_same(quick: QuickCommand, recorded: Path, tmp_path: Path) -> None:
    first, second = tmp_path / "first.jsonl", tmp_path / "second.jsonl"
    assert quick("export", "--data", recorded, first).returncode == 0
    done = quick("import", "--data", tmp_path / "other", first)
    assert (done.returncode, done.stderr) == (0, "")
    assert quick("export", "--data", tmp_path / "other", second).returncode == 0
    assert first.read_bytes() == second.read_bytes()
    records = [json.loads(line)["record"] for line in first.read_text().splitlines()]
    assert {"lot", "batch", "fact"} <= set(records)


def test_an_export_goes_to_standard_output_unless_told_otherwise(command: Command, recorded: Path) -> None:
    done = command("export", "--data", recorded)
    assert (done.returncode, done.stderr) == (0, "")
    assert all(json.loads(line) for line in done.stdout.splitlines())


def test_an_export_never_overwrites(quick: QuickCommand, recorded: Path, tmp_path: Path) -> None:
    (tmp_path / "out.jsonl").write_text("precious")
    assert "never overwrites" in quick.refused("export", "--data", recorded, tmp_path / "out.jsonl")
    assert (tmp_path / "out.jsonl").read_text() == "precious"


def test_an_import_into_a_folder_with_records_is_refused(quick: QuickCommand, recorded: Path, tmp_path: Path) -> None:
    quick("export", "--data", recorded, tmp_path / "out.jsonl")
    assert "empty folder" in quick.refused("import", "--data", recorded, tmp_path / "out.jsonl")
    quick("export", "--data", recorded, tmp_path / "again.jsonl")
    assert (tmp_path / "again.jsonl").read_bytes() == (tmp_path / "out.jsonl").read_bytes()


@pytest.mark.parametrize(
    "spoil",
    [
        lambda content: content[: len(content) * 2 // 3],
        lambda content: b"",
        lambda content: b"\xff\xfe" + content,
        lambda content: content + content.splitlines(keepends=True)[-1],
        lambda content: content.replace(b'"kind":"charge"', b'"kind":"chrage"'),
    ],
    ids=["cut off", "empty", "not text", "a fact twice", "an unknown kind"],
)
def test_a_spoilt_export_leaves_the_folder_empty(
    spoil: object, quick: QuickCommand, recorded: Path, tmp_path: Path
) -> None:
    quick("export", "--data", recorded, tmp_path / "good.jsonl")
    assert callable(spoil)
    (tmp_path / "spoilt.jsonl").write_bytes(spoil((tmp_path / "good.jsonl").read_bytes()))
    quick.refused("import", "--data", tmp_path / "other", tmp_path / "spoilt.jsonl")
    assert quick("import", "--data", tmp_path / "other", tmp_path / "good.jsonl").returncode == 0


def test_rebuilding_the_measures_changes_no_record(quick: QuickCommand, recorded: Path, tmp_path: Path) -> None:
    quick("export", "--data", recorded, tmp_path / "before.jsonl")
    done = quick("rebuild", "--data", recorded)
    assert (done.returncode, done.stderr) == (0, "")
    quick("export", "--data", recorded, tmp_path / "after.jsonl")
    assert (tmp_path / "before.jsonl").read_bytes() == (tmp_path / "after.jsonl").read_bytes()
