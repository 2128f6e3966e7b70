"""Every way in which something is posted, with what a browser or a phone would send there: one example for each."""

from __future__ import annotations

import json
from collections.abc import Callable, Mapping
from dataclasses import dataclass, field
from io import BytesIO
from typing import Any

from flask import Flask
from flask.testing import FlaskClient
from sqlalchemy.orm import Session
from werkzeug.test import TestResponse

from app.judgement.programmes.programme import load_builtin
from app.operations.devices import make_code
from app.operations.people import add_person
from app.operations.photos import add_photo
from app.operations.pictures import make_picture
from app.store.batches import Batch, get_batch
from app.store.calendar_feeds import CalendarFeed, token_digest
from app.store.devices import DESK, MAY_LOG, Device
from app.store.engine import read_session, write_session
from app.web.access.house_network import HouseAddresses
from tests.network.phone import ADDRESS, HOUSE
from tests.pages import PageForm, forms_of, tub_form
from tests.pictures import jpeg
from tests.stories import add_fact, add_story
from tests.writing import LOT, NOW, add_lot, fill_jar, iso

ENDED, LIVE, OTHER = 1, 2, 3
"""The numbers of the batches: one that is finished, and two that grow."""
READING, STRUCK_PHOTO, PHOTO, DEVICE, FEED, JAR = "hot-1", "photo-2", "photo-1", "device-1", "feed-1", "jar-1"


@dataclass(frozen=True)
class Post:
    """One post: where to and what. is_phone: from a phone beyond the desk."""

    path: str
    sent: Mapping[str, Any] = field(default_factory=dict)
    json: Any = None
    is_phone: bool = False

    def by(self, client: FlaskClient) -> TestResponse:
        about: dict[str, Any] = {"json": self.json} if self.json is not None else {"data": self._fresh()}
        if self.is_phone:
            about |= {"base_url": HOUSE, "environ_overrides": {"REMOTE_ADDR": ADDRESS}}
        return client.post(self.path, **about)

    def emptied(self, sent: Mapping[str, Any]) -> Post:
        """To the same address, with nothing in it but this."""
        return Post(self.path, sent, None if self.json is None else {}, self.is_phone)

    def _fresh(self) -> dict[str, Any]:
        return {name: (BytesIO(each), "file") if isinstance(each, bytes) else each for name, each in self.sent.items()}


Way = Callable[[FlaskClient, Flask], Post]


def furnish(session: Session) -> None:
    """A house of which every example can be posted: a lot, three batches, a jar, a photo, a phone, a calendar."""
    add_person(session, person_id="p1", name="Anna", units="metric", now=NOW)
    add_lot(session)
    ended = add_story(session, hours_ago=400)
    live = add_story(session, hours_ago=100)
    add_story(session, hours_ago=101)
    add_fact(session, live, "grain_temperature", {"value": 21.5}, id=READING, hours_ago=0.5, place="middle")
    fill_jar(session, JAR, batch=ended.id, name="Jar 1")
    for place, name in enumerate((PHOTO, STRUCK_PHOTO)):
        seen = make_picture(jpeg(64 + 8 * place))
        add_photo(session, photo_id=name, fact_id=READING, picture=seen, now=NOW, entered_by="Anna")
    about = {"name": "Anna's phone", "units": "metric", "has_alarms": True, "created_at": NOW}
    session.add(CalendarFeed(id=FEED, token_sha256=token_digest("T" * 43), **about))
    session.add(Device(id=DEVICE, name="Floor", role=MAY_LOG, person_id="p1", created_at=NOW, last_seen_at=NOW))


def open_house(app: Flask) -> None:
    """Let the pages believe that phones can reach the house."""
    app.extensions["opened"] = HouseAddresses((HOUSE,), frozenset({"chitbook.local"}), (), "")


def _form(client: FlaskClient, page: str, action: str = "") -> PageForm:
    answer = client.get(page)
    assert answer.status_code == 200, (page, answer.status_code)
    return next(form for form in forms_of(answer.text) if form.action == (action or page))


def _filled(page: str, action: str = "", **changes: str) -> Way:
    """The form of a page, with some fields changed."""

    def way(client: FlaskClient, _app: Flask) -> Post:
        return Post(action or page, _form(client, page, action).filled(**changes))

    return way


def _entry(page: str, **changes: str) -> Way:
    """The form of one entry, whichever address it is sent to."""

    def way(client: FlaskClient, _app: Flask) -> Post:
        form = next(each for each in forms_of(client.get(page).text) if "when" in each.choices)
        return Post(form.action or page, form.filled(**changes))

    return way


def _tub(client: FlaskClient, kind: str, **own: str) -> dict[str, str]:
    form = tub_form(client.get(f"/batches/{ENDED}/tub").text)
    return form.filled(**{f"{kind}-{name}": value for name, value in own.items()})


def _tub_chosen(client: FlaskClient, _app: Flask) -> Post:
    return Post(f"/batches/{ENDED}/tub", _tub(client, "note", text="Dressed.") | {"kind": "note"})


def _tub_kind(client: FlaskClient, _app: Flask) -> Post:
    return Post(f"/batches/{ENDED}/tub/note", _tub(client, "note", text="Dressed."))


def _sync(_client: FlaskClient, app: Flask) -> Post:
    records = [_note(app, ENDED, "sync-1"), _note(app, LIVE, "sync-2"), _note(app, LIVE, "sync-3")]
    return Post("/sync/facts", json={"entries": records})


def _unsent(_client: FlaskClient, app: Flask) -> Post:
    file = {"chitbook_outbox": 1, "saved_at": iso(NOW), "entries": [_note(app, ENDED, "unsent-1")]}
    return Post("/data/unsent", {"file": json.dumps(file).encode()})


def _note(app: Flask, number: int, id: str) -> dict[str, Any]:
    about = {"type": "batch", "id": batch(app, number).id}
    return {"id": id, "kind": "note", "subject": about, "at": iso(NOW), "typed": {"text": "Even."}}


def _merge(client: FlaskClient, app: Flask) -> Post:
    page = f"/batches/{LIVE}/merge"
    return Post(page, _form(client, page).filled(source_1=f"batch:{batch(app, OTHER).id}"))


def _roast(client: FlaskClient, app: Flask) -> Post:
    source = f"batch:{batch(app, ENDED).id}"
    form = _form(client, f"/batches/roast?from={source}", "/batches/roast")
    return Post("/batches/roast", form.filled(as_is_0="2"))


def _answer(client: FlaskClient, _app: Flask) -> Post:
    page = f"/batches/{LIVE}"
    return Post(f"{page}/flags", _form(client, page, f"{page}/flags").values | {"answer": "seen"})


def _pair(_client: FlaskClient, app: Flask) -> Post:
    with write_session(app.extensions["engine"]) as session:
        code = make_code(session, role=MAY_LOG, person_id=None, made_by=DESK, now=NOW)
    return Post("/pair", {"code": code, "name": "Kiln"}, is_phone=True)


def _restored(client: FlaskClient, _app: Flask) -> Post:
    assert client.post(f"/photos/{STRUCK_PHOTO}/strike").status_code == 303
    return Post(f"/photos/{STRUCK_PHOTO}/restore")


def _plain(path: str, **sent: Any) -> Way:
    return lambda _client, _app: Post(path, sent)


def batch(app: Flask, number: int) -> Batch:
    with read_session(app.extensions["engine"]) as session:
        return get_batch(session, number)


PALE = load_builtin()["barley_pale"].digest
WAYS: Mapping[str, Way] = {
    "batches.answer": _answer,
    "batches.change_programme": _filled(f"/batches/{LIVE}/programme", programme=load_builtin()["caramel"].digest),
    "batches.charge": _filled(f"/batches/new?lot={LOT}", "/batches/new", as_is_0="20", programme=PALE),
    "batches.merge": _merge,
    "batches.pack": _filled(f"/batches/{ENDED}/pack", name="Jar 2", as_is_0="2"),
    "batches.rename": _filled(f"/batches/{LIVE}", f"/batches/{LIVE}/title", title="Spring"),
    "batches.roast": _roast,
    "batches.split": _filled(f"/batches/{LIVE}/split", as_is_0="5"),
    "calendar.make": _filled("/calendar", name="Ben's phone"),
    "calendar.revoke": _plain(f"/calendar/{FEED}/revoke"),
    "data.take_unsent_in": _unsent,
    "devices.make": _plain("/devices", role=MAY_LOG, person=""),
    "devices.pair": _pair,
    "devices.revoke": _plain(f"/devices/{DEVICE}/revoke"),
    "facts.keep_correction": _entry(f"/facts/{READING}/correct", value="21"),
    "facts.withdraw": _plain(f"/facts/{READING}/withdraw", id="struck-1", reason="Misread."),
    "house.keep": _entry("/house/entries/calibrated", about="probe 1", amount="-0.5"),
    "lots.keep": _entry(f"/lots/{LOT}/entries/note", text="Dusty."),
    "lots.keep_dishes": _filled(f"/lots/{LOT}/germination", dish1_day_1="60", dish1_day_2="30", dish1_day_3="5"),
    "lots.take_in": _filled("/lots/new", name="River field", species="barley", gross="500"),
    "malt.keep": _entry(f"/batches/{ENDED}/tests/malt_colour", value="3"),
    "packs.dispatch": _filled(f"/packs/{JAR}/dispatch", as_is_0="1", to="Mill bakery"),
    "people.add": _filled("/people", name="Ben"),
    "people.choose": _plain("/people/choose", person="p1"),
    "people.choose_quiet": _plain("/people/quiet", starts="21:00", ends="06:00"),
    "people.choose_theme": _plain("/people/theme", theme="night"),
    "people.choose_units": _plain("/people/units", units="us"),
    "photos.add": _plain(f"/facts/{READING}/photos", photo=jpeg(96, 64)),
    "photos.receive": _plain("/sync/photos", id="photo-3", fact_id=READING, file=jpeg(104, 64)),
    "photos.restore": _restored,
    "photos.strike": _plain(f"/photos/{PHOTO}/strike"),
    "programmes.keep": _filled(f"/programmes/{PALE}/edit", name="Pale, ours"),
    "sync.keep": _sync,
    "tub.keep": _tub_kind,
    "tub.keep_chosen": _tub_chosen,
}
"""By endpoint."""
