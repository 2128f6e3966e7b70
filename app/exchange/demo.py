"""The demo malthouse: read from seed_data and told by the same operations that the screens call.

Every time in the data is relative, so that the malthouse is always in the middle of its work (see seed_data/house.toml
for the notation). The same `now` gives the same records: ids follow from names, and nothing is drawn by chance.
"""

from __future__ import annotations

import re
import tomllib
from collections.abc import Callable, Iterator, Mapping, Sequence
from dataclasses import dataclass, field
from datetime import UTC, datetime, timedelta
from typing import Any
from uuid import UUID, uuid5

from sqlalchemy.orm import Session

from app.folder import find_bundled
from app.judgement.facts.fields import Moment, Quantity, Reference
from app.judgement.facts.kinds import KINDS
from app.judgement.facts.records import written
from app.judgement.facts.shapes import Fact
from app.judgement.programmes.programme import load_builtin
from app.operations.batches import open_batch, pack_batch
from app.operations.digests import rebuild
from app.operations.facts import record_fact, withdraw_fact
from app.operations.lots import create_lot
from app.operations.people import add_person
from app.science import units
from app.store.facts import find_fact

NAMESPACE = UUID("6d1c2b0e-7a57-4f0b-9a8e-0c3b5e6f4d21")
_DAYS_AGO = re.compile(r"(\d+)d (\d\d):(\d\d)")
_BEFORE_NOW = re.compile(r"now-(\d+):(\d\d)")
_HOURS = re.compile(r"(-?)(\d+):(\d\d)")
_ENVELOPE = ("place", "instrument", "method", "quality", "note", "device")
_NOT_TYPED = frozenset(
    {*_ENVELOPE, "at", "kind", "person", "typed_by", "late", "key", "corrects", "strikes", "about", "pack"}
)

Entry = Mapping[str, Any]


@dataclass(frozen=True, order=True)
class Step:
    """One thing that somebody did, at the time at which it was written down."""

    written_at: datetime
    place: int
    do: Callable[[], object] = field(compare=False)


@dataclass(frozen=True)
class Book:
    """One file of entries: its name, what they are about, and the first water that hours are counted from."""

    name: str
    now: datetime
    about: str
    first_water_at: datetime | None = None

    def moment(self, text: str) -> datetime:
        """What a time of the data means; ValueError where it means nothing."""
        if match := _DAYS_AGO.fullmatch(text):
            days, hours, minutes = map(int, match.groups())
            midnight = self.now.replace(hour=0, minute=0, second=0, microsecond=0)
            return (midnight - timedelta(days=days) + timedelta(hours=hours, minutes=minutes)).astimezone(UTC)
        if match := _BEFORE_NOW.fullmatch(text):
            return self.now.astimezone(UTC) - _duration(*match.groups())
        match = _HOURS.fullmatch(text)
        if match is None or self.first_water_at is None:
            raise ValueError(f"{self.name}: “{text}” is no time.")
        sign, hours_text, minutes_text = match.groups()
        duration = _duration(hours_text, minutes_text)
        return self.first_water_at - duration if sign else self.first_water_at + duration

    def fact_id(self, key: str) -> str:
        return demo_id(self.name, key)

    def fact(self, entry: Entry, place: int, **ends: str) -> Fact:
        """The entry as a form would write it. ends: what grain goes from or into, where the data leaves that open."""
        span = entry["at"] if isinstance(entry["at"], list) else [entry["at"]]
        earliest, latest = self.moment(span[0]), self.moment(span[-1])
        late = _duration(*entry["late"].split(":")) if "late" in entry else timedelta()
        type_, _, id_ = str(entry.get("about", self.about)).partition(":")
        person = entry.get("person")
        beside = {name: entry[name] for name in _ENVELOPE if name in entry} | {"person": person}
        if "corrects" in entry:
            beside["supersedes_id"] = self.fact_id(entry["corrects"])
        return written(
            entry["kind"],
            self.typed(entry) | ends,
            (type_, id_),
            (earliest, latest),
            entry_id=self.fact_id(entry.get("key", str(place))),
            clock="typed" if late or len(span) > 1 else "now",
            written_at=latest + late,
            by=entry.get("typed_by", person),
            **beside,
        )

    def typed(self, entry: Entry) -> dict[str, str]:
        """What was typed, each quantity with its unit beside it."""
        fields = KINDS[entry["kind"]].fields
        found: dict[str, str] = {}
        for name in sorted(entry.keys() - _NOT_TYPED):
            if name not in fields:
                raise ValueError(f"{self.name}: a {entry['kind']} has no field “{name}”.")
            spec, text = fields[name], str(entry[name])
            if isinstance(spec, Quantity):
                found |= _number_and_unit(name, text, spec.dimension)
            elif isinstance(spec, Moment):
                found[name] = self.moment(text).isoformat()
            elif isinstance(spec, Reference):
                type_, _, key = text.partition(":")
                found[name] = f"{type_}:{demo_id(type_, key)}"
            elif spec.target == "episode_id":
                found[name] = self.fact_id(text)
            elif spec.target == "programme":
                found[name] = load_builtin()[text].digest
            else:
                found[name] = text
        return found


def demo_id(*names: str) -> str:
    """The id of a thing of the demo, by its names."""
    return str(uuid5(NAMESPACE, "/".join(names)))


def load_demo(session: Session, now: datetime) -> None:
    """Fill an empty record with the demo malthouse, as it would stand at `now`. The built-in programmes must be there.

    Times of day are those of the zone that `now` is in.
    """
    for step in demo_steps(session, now):
        step.do()
    rebuild(session, now)


def demo_steps(session: Session, now: datetime) -> list[Step]:
    """All that was done in the demo malthouse, in the order in which it was written down."""
    folder, now = find_bundled("seed_data"), now.replace(second=0, microsecond=0)
    house, lots = (tomllib.loads((folder / name).read_text("utf-8")) for name in ("house.toml", "lots.toml"))
    batches = [tomllib.loads(path.read_text("utf-8")) for path in sorted((folder / "batches").glob("*.toml"))]
    steps = [*_house_steps(session, house, now)]
    for lot in lots["lots"]:
        steps += _lot_steps(session, lot, now)
    for batch in batches:
        steps += _batch_steps(session, batch, now)
    return sorted(steps)


def _house_steps(session: Session, house: Entry, now: datetime) -> Iterator[Step]:
    book = Book("house", now, "house:house")
    for place, person in enumerate(house["people"]):
        at = book.moment(person["since"])
        yield Step(at, place, _adding_person(session, person, at))
    yield from _fact_steps(session, book, house["facts"])


def _adding_person(session: Session, person: Entry, at: datetime) -> Callable[[], object]:
    name = person["name"]
    return lambda: add_person(session, person_id=demo_id("person", name), name=name, units=person["units"], now=at)


def _lot_steps(session: Session, lot: Entry, now: datetime) -> Iterator[Step]:
    lot_id = demo_id("lot", lot["key"])
    book = Book(f"lot {lot['key']}", now, f"lot:{lot_id}")
    intake = book.fact({**lot["intake"], "kind": "intake"}, -1)
    at = _written_at(intake)
    words = {name: lot[name] for name in ("name", "species", "variety", "supplier")}

    def take_in() -> None:
        create_lot(session, lot_id=lot_id, harvest=_harvest_before(at), now=at, facts=[intake], **words)

    yield Step(at, 0, take_in)
    yield from _fact_steps(session, book, lot["facts"])


def _harvest_before(moment: datetime) -> str:
    """The year of the last harvest before a moment, on a farm that is done by the end of September."""
    return str(moment.year if moment.month > 9 else moment.year - 1)


def _batch_steps(session: Session, batch: Entry, now: datetime) -> Iterator[Step]:
    name = f"batch {batch['number']}"
    batch_id = demo_id("batch", str(batch["number"]))
    first_water_at = Book(name, now, "").moment(batch["first_water"])
    book = Book(name, now, f"batch:{batch_id}", first_water_at)
    entries = enumerate(batch["arrivals"], start=1)
    arrivals = [book.fact(entry, -place, target=f"batch:{batch_id}") for place, entry in entries]
    at = _written_at(arrivals[-1])
    words = {key: batch[key] for key in ("number", "title", "species", "vessel")}

    def begin() -> None:
        digest = load_builtin()[batch["programme"]].digest
        open_batch(session, batch_id=batch_id, programme=digest, parts=arrivals, now=at, **words)

    yield Step(at, 0, begin)
    yield from _fact_steps(session, book, [*batch["facts"], *_series(batch.get("series", []))])


def _series(series: Sequence[Entry]) -> Iterator[dict[str, Any]]:
    """The single readings of what an instrument wrote down by itself."""
    for one in series:
        common = {name: one[name] for name in ("kind", "place", "instrument", "device")}
        start, every = _minutes(one["start"]), _minutes(one["every"])
        for place, value in enumerate(one["values"]):
            hours, minutes = divmod(start + place * every, 60)
            key = f"{one['instrument']} {place}"
            yield {**common, "at": f"{hours}:{minutes:02d}", "key": key, "value": f"{value} {one['unit']}"}


def _fact_steps(session: Session, book: Book, entries: Sequence[Entry]) -> Iterator[Step]:
    for place, entry in enumerate(entries, start=1):
        ends = {"source": book.about, "target": f"pack:{demo_id('pack', entry['pack'])}"} if "pack" in entry else {}
        new = book.fact(entry, place, **ends)
        yield Step(_written_at(new), place, _keeping(session, entry, new, book))


def _written_at(new: Fact) -> datetime:
    assert new.written_at is not None
    return new.written_at


def _keeping(session: Session, entry: Entry, new: Fact, book: Book) -> Callable[[], object]:
    """What a person does to keep one entry."""
    at = _written_at(new)
    if new.kind == "withdrawal":
        return lambda: _withdraw(session, new, book.fact_id(entry["strikes"]), at)
    if new.kind == "pack":
        name = entry["pack"]
        return lambda: pack_batch(session, pack_id=demo_id("pack", name), name=name, part=new, now=at)
    return lambda: record_fact(session, new, now=at)


def _withdraw(session: Session, said: Fact, target_id: str, at: datetime) -> None:
    target = find_fact(session, target_id)
    if target is None:
        raise ValueError("The demo strikes out an entry that isn't there.")
    reason, by = said.typed["reason"], said.entered_by
    withdraw_fact(session, target, new_id=said.id, now=at, reason=reason, entered_by=by)


def _number_and_unit(name: str, text: str, dimension: str) -> dict[str, str]:
    number, _, symbol = text.partition(" ")
    keys = {unit.symbol: unit.key for unit in units.units_of(dimension)}
    if symbol not in keys:
        raise ValueError(f"“{text}” has no unit of {dimension}.")
    return {name: number, f"{name}_unit": keys[symbol]}


def _duration(hours: str, minutes: str) -> timedelta:
    return timedelta(hours=int(hours), minutes=int(minutes))


def _minutes(text: str) -> int:
    hours, minutes = text.split(":")
    return int(hours) * 60 + int(minutes)
