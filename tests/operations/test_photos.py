"""A photo is kept once under its id, for a fact that is here; and striking it takes nothing away."""

from __future__ import annotations

from datetime import timedelta
from typing import Any

import pytest
from sqlalchemy import func, select
from sqlalchemy.orm import Session

from app.errors import NotFound, Rejected
from app.judgement.facts.shapes import Subject
from app.operations.facts import record_fact
from app.operations.photos import MOST_OF_ONE_FACT, KeptPhoto, add_photo, photo_id_for, restore_photo, strike_photo
from app.operations.pictures import Picture, make_picture
from app.store.photos import (
    SMALL,
    WHOLE,
    Photo,
    PhotoPicture,
    find_photo,
    find_picture,
    list_photos_about,
    list_photos_of_chain,
)
from tests.pictures import jpeg
from tests.writing import BATCH, NOW, add_batch, struck, water

ONE, OTHER = make_picture(jpeg(64, 48)), make_picture(jpeg(80, 60))


@pytest.fixture(autouse=True)
def _a_reading(session: Session) -> None:
    add_batch(session)
    record_fact(session, water(), now=NOW)


def add(session: Session, photo_id: str = "photo-1", picture: Picture = ONE, **more: Any) -> KeptPhoto:
    return add_photo(session, **{"photo_id": photo_id, "fact_id": "water-1", "picture": picture, "now": NOW, **more})


def count(session: Session) -> list[int | None]:
    return [session.scalar(select(func.count()).select_from(table)) for table in (Photo, PhotoPicture)]


def test_a_photo_is_kept_with_both_its_sizes(session: Session) -> None:
    kept = add(session, entered_by="Nora", device="Nora’s phone", created_at=NOW - timedelta(hours=3))
    assert kept.is_new
    session.expire_all()
    photo = find_photo(session, "photo-1")
    assert photo is not None
    assert (photo.fact_id, photo.sha256, photo.width, photo.height) == ("water-1", ONE.sha256, 64, 48)
    assert (photo.size_bytes, photo.media_type) == (len(ONE.whole), "image/jpeg")
    assert (photo.entered_by, photo.device, photo.created_at) == ("Nora", "Nora’s phone", NOW - timedelta(hours=3))
    assert find_picture(session, "photo-1", WHOLE) == ONE.whole
    assert find_picture(session, "photo-1", SMALL) == ONE.small


def test_the_same_photo_again_is_the_same_and_nothing_is_written(session: Session) -> None:
    add(session)
    again = add(session, now=NOW + timedelta(hours=1))
    assert not again.is_new
    assert again.photo.received_at == NOW
    assert count(session) == [1, 2]


@pytest.mark.parametrize(
    "more", [{"picture": OTHER}, {"fact_id": f"charge-{BATCH}"}], ids=["other bytes", "other fact"]
)
def test_another_photo_under_the_same_id_is_refused(session: Session, more: dict[str, Any]) -> None:
    add(session)
    with pytest.raises(Rejected) as refused:
        add(session, **more)
    assert set(refused.value.fields) == {"id"}
    assert find_picture(session, "photo-1", WHOLE) == ONE.whole
    assert count(session) == [1, 2]


def test_a_photo_of_a_fact_that_is_not_here_is_refused(session: Session) -> None:
    with pytest.raises(Rejected) as refused:
        add(session, fact_id="not here yet")
    assert set(refused.value.fields) == {"fact_id"}
    assert count(session) == [0, 0]


@pytest.mark.parametrize("photo_id", ["", "x" * 37, "../../etc/passwd", "a/b", "a b", "å", "a\n"])
def test_an_id_is_of_letters_digits_and_hyphens(session: Session, photo_id: str) -> None:
    with pytest.raises(Rejected) as refused:
        add(session, photo_id)
    assert set(refused.value.fields) == {"id"}


def test_one_fact_has_at_most_so_many_photos(session: Session) -> None:
    for number in range(MOST_OF_ONE_FACT):
        add(session, f"photo-{number}")
    with pytest.raises(Rejected) as refused:
        add(session, "one-more")
    assert set(refused.value.fields) == {"photo"}
    assert add(session, "photo-0").is_new is False


def test_a_struck_photo_stays_and_is_listed_no_more(session: Session) -> None:
    add(session)
    photo = strike_photo(session, "photo-1", now=NOW, struck_by="Ben")
    assert (photo.struck_at, photo.struck_by) == (NOW, "Ben")
    assert list_photos_about(session, [Subject("batch", BATCH)]) == []
    assert list_photos_of_chain(session, "water-1") == [photo]
    assert find_picture(session, "photo-1", WHOLE) == ONE.whole


def test_struck_twice_it_is_struck_by_the_first(session: Session) -> None:
    add(session)
    strike_photo(session, "photo-1", now=NOW, struck_by="Ben")
    photo = strike_photo(session, "photo-1", now=NOW + timedelta(hours=1), struck_by="Nora")
    assert (photo.struck_at, photo.struck_by) == (NOW, "Ben")


def test_a_struck_photo_can_be_shown_again(session: Session) -> None:
    add(session)
    strike_photo(session, "photo-1", now=NOW)
    photo = restore_photo(session, "photo-1")
    assert list_photos_about(session, [Subject("batch", BATCH)]) == [photo]


def test_what_is_not_there_can_be_neither_struck_nor_restored(session: Session) -> None:
    with pytest.raises(NotFound):
        strike_photo(session, "photo-9", now=NOW)
    with pytest.raises(NotFound):
        restore_photo(session, "photo-9")


def test_photos_go_with_a_fact_through_its_corrections_both_ways(session: Session) -> None:
    add(session, "first")
    record_fact(session, water("13", id="water-2", supersedes_id="water-1"), now=NOW)
    add(session, "second", OTHER, fact_id="water-2", now=NOW + timedelta(minutes=1))
    record_fact(session, struck("water-2"), now=NOW)
    for fact_id in ("water-1", "water-2", "struck-1"):
        assert [photo.id for photo in list_photos_of_chain(session, fact_id)] == ["first", "second"]


def test_a_photo_sent_again_with_its_form_has_the_same_id_and_another_has_not() -> None:
    ids = {photo_id_for("water-1", ONE), photo_id_for("water-1", OTHER), photo_id_for("water-2", ONE)}
    assert len(ids) == 3
    assert photo_id_for("water-1", ONE) in ids
