"""Photos go with every copy of the record: the export and back, the backup and its restore."""

from __future__ import annotations

import base64
import json
import shutil
from collections.abc import Iterator
from pathlib import Path
from typing import Any

import pytest
from sqlalchemy.orm import Session

from app.config import Settings
from app.errors import Rejected
from app.exchange.records import export_records, import_records
from app.operations.facts import record_fact
from app.operations.photos import add_photo, strike_photo
from app.operations.pictures import make_picture
from app.store import copies
from app.store.data import get_holdings
from app.store.engine import make_sessionmaker, open_database
from app.store.photos import SMALL, WHOLE, find_photo, find_picture, list_photos
from tests.pictures import jpeg, opened
from tests.writing import NOW, add_batch, water

ONE, OTHER = make_picture(jpeg(640, 480)), make_picture(jpeg(480, 640))


@pytest.fixture
def told(session: Session) -> list[str]:
    """The export of a record with two photos, one of them struck."""
    add_batch(session)
    record_fact(session, water(), now=NOW)
    add_photo(session, photo_id="photo-1", fact_id="water-1", picture=ONE, now=NOW, created_at=NOW, entered_by="Nora")
    add_photo(session, photo_id="photo-2", fact_id="water-1", picture=OTHER, now=NOW)
    strike_photo(session, "photo-2", now=NOW, struck_by="Ben")
    session.commit()
    return [json.dumps(record) for record in export_records(session)]


@pytest.fixture
def empty(tmp_path: Path, migrated_file: Path) -> Iterator[Session]:
    path = tmp_path / "other.sqlite"
    shutil.copy(migrated_file, path)
    with open_database(f"sqlite:///{path}") as engine, make_sessionmaker(engine)() as session:
        yield session


def spoilt(told: list[str], **values: Any) -> list[str]:
    """The export with other values in its first photo."""
    place = next(place for place, line in enumerate(told) if json.loads(line)["record"] == "photo")
    return [*told[:place], json.dumps(json.loads(told[place]) | values), *told[place + 1 :]]


def test_an_export_holds_every_photo_whole(told: list[str]) -> None:
    records = [json.loads(line) for line in told]
    photos = {record["id"]: record for record in records if record["record"] == "photo"}
    assert base64.b64decode(photos["photo-1"]["picture"]) == ONE.whole
    assert photos["photo-1"]["created_at"] == photos["photo-1"]["received_at"] == "2026-03-14T09:30:00Z"
    assert (photos["photo-2"]["struck_by"], photos["photo-1"]["struck_by"]) == ("Ben", None)


def test_photos_come_after_the_facts_that_they_belong_to(told: list[str]) -> None:
    order = [json.loads(line)["record"] for line in told]
    assert order[-3:] == ["photo", "photo", "end"]
    assert order.index("photo") > len(order) - 1 - order[::-1].index("fact")


def test_an_export_reads_back_to_the_same(told: list[str], empty: Session, session: Session) -> None:
    import_records(empty, told)
    assert [json.dumps(record) for record in export_records(empty)] == told
    assert get_holdings(empty) == get_holdings(session)
    photo = find_photo(empty, "photo-1")
    assert photo is not None
    assert (photo.created_at, photo.entered_by, photo.sha256) == (NOW, "Nora", ONE.sha256)


def test_the_small_pictures_are_made_again(told: list[str], empty: Session) -> None:
    import_records(empty, told)
    small = find_picture(empty, "photo-2", SMALL)
    assert small is not None
    assert opened(small).size == (240, 320)


@pytest.mark.parametrize(
    "values",
    [
        {"picture": "no base64!"},
        {"picture": base64.b64encode(b"no picture").decode()},
        {"picture": ""},
        {"fact_id": "not here"},
        {"width": 0},
        {"received_at": "2026-03-14T09:30:00"},
        {"id": "photo-2"},
    ],
)
def test_a_spoilt_photo_is_named_by_its_line_and_nothing_is_taken_in(
    told: list[str], empty: Session, values: dict[str, Any]
) -> None:
    with pytest.raises(Rejected, match="Line "):
        import_records(empty, spoilt(told, **values))
    empty.rollback()
    assert list_photos(empty) == []


def test_a_photo_without_its_picture_is_no_photo(told: list[str], empty: Session) -> None:
    place = next(place for place, line in enumerate(told) if json.loads(line)["record"] == "photo")
    record = json.loads(told[place])
    del record["picture"]
    with pytest.raises(Rejected, match="can't be read"):
        import_records(empty, [*told[:place], json.dumps(record), *told[place + 1 :]])


def test_a_backup_holds_the_photos_and_a_restore_brings_them_back(
    told: list[str], settings: Settings, tmp_path: Path
) -> None:
    copies.back_up(settings.database_file, tmp_path / "copy.sqlite")
    fresh = tmp_path / "fresh.sqlite"
    copies.replace_database(tmp_path / "copy.sqlite", fresh)
    with open_database(f"sqlite:///{fresh}") as engine, make_sessionmaker(engine, reading=True)() as session:
        assert [photo.id for photo in list_photos(session)] == ["photo-1", "photo-2"]
        assert find_picture(session, "photo-1", WHOLE) == ONE.whole
        assert find_picture(session, "photo-2", SMALL) == OTHER.small
