"""What the pages say over a whole simulated batch, beside what was so: to be read as a maltster would.

python -m tests.truth.diary GRAIN SETTING PERSON FAULT|- SEED SET, as in barley floor careful fan_failure 0 first
"""

from __future__ import annotations

import re
import sys
import tempfile
from collections.abc import Iterator
from datetime import datetime, timedelta
from html.parser import HTMLParser
from pathlib import Path
from typing import NamedTuple
from unittest.mock import patch
from zoneinfo import ZoneInfo

from flask import Flask
from sqlalchemy.orm import Session

from app import create_app, ports
from app.config import Settings
from app.judgement.facts.records import fact_from_record
from app.judgement.programmes.programme import load_builtin
from app.operations.batches import open_batch
from app.operations.lots import create_lot
from app.operations.programmes import ensure_builtin_programmes
from app.store import schema
from app.store.engine import open_database, write_session
from tests.benchmarks.known_by import told_at
from tests.truth.people import Record
from tests.truth.run import Run, batch

EVERY, SOON = timedelta(hours=3), timedelta(minutes=2)
PAGES = {"tub": "/batches/1/tub", "home": "/", "sleep": "/batches/1/ahead"}
UNREAD = {"form", "nav", "svg", "button", "datalist"}
INLINE = {"a", "b", "i", "span", "br", "time"}
NEXT = "» "  # Before what is to be done next: that is said each time, whether it is new or not.


class Page(NamedTuple):
    """What is new on a page since it was last looked at; of the page "entry", what was written and answered."""

    name: str
    now: datetime
    truth: str
    lines: list[str]


class _Sentences(HTMLParser):
    def __init__(self) -> None:
        super().__init__()
        self.lines = [""]
        self.unread: list[str] = []

    def handle_starttag(self, tag: str, attrs: list[tuple[str, str | None]]) -> None:
        if tag in UNREAD or (tag == "div" and (self.unread or "screen" in (dict(attrs).get("class") or ""))):
            self.unread.append(tag)
        self.lines += [NEXT if tag == "strong" else ""] * (tag not in INLINE)

    def handle_endtag(self, tag: str) -> None:
        if self.unread and tag == self.unread[-1]:
            self.unread.pop()
        self.lines += [""] * (tag not in INLINE)

    def handle_data(self, data: str) -> None:
        if not self.unread:
            self.lines[-1] += data


def sentences(html: str) -> list[str]:
    """What one reads of a page: no forms, tiles or pictures."""
    reader = _Sentences()
    reader.feed(html)
    return [line for each in reader.lines if (line := re.sub(r"\s+", " ", each).strip()) and len(line) > 1]


def diary(run: Run, folder: Path) -> Iterator[Page]:
    """Write the batch's facts as they were told, and look at the pages after each, and every three hours."""
    settings = Settings(data_dir=folder, zone=ZoneInfo("UTC"))
    entries = sorted((each for each in run.records if "kind" in each), key=lambda each: told_at(fact_from_record(each)))
    with open_database(settings.database_url) as engine:
        schema.upgrade(engine)
        with write_session(engine) as session:
            ensure_builtin_programmes(session, now=run.hour_zero)
            _begin(session, run, entries)
    app = create_app(settings)
    app.config.update(TESTING=True, WTF_CSRF_ENABLED=False)
    seen: dict[str, set[str]] = {}
    sent = [each for each in entries if each["subject"]["type"] == "batch" and each["kind"] != "charge"]
    for now, told in _moments(sent):
        with patch.object(ports, "now", lambda now=now: now):
            yield from _looked(app, run, now, told, seen)
    app.extensions["engine"].dispose()


def _begin(session: Session, run: Run, entries: list[Record]) -> None:
    """Lot and batch, with what was told of the lot and the grain that went in."""
    facts = [fact_from_record(each) for each in entries]
    of_lot = [each for each in facts if each.subject.type == "lot"]
    create_lot(session, lot_id="lot-1", name="Lot 1", species=run.grain, now=run.hour_zero, facts=of_lot)
    parts, programme = [each for each in facts if each.kind == "charge"], load_builtin()[run.programme].digest
    open_batch(session, batch_id="batch-1", species=run.grain, programme=programme, parts=parts, now=told_at(parts[0]))


def _moments(entries: list[Record]) -> Iterator[tuple[datetime, list[Record]]]:
    """When somebody looks, and what was told just before; of what is told in one go, once."""
    waiting: list[Record] = []
    told = [told_at(fact_from_record(each)) for each in entries]
    for each, at, following in zip(entries, told, [*told[1:], told[-1] + EVERY], strict=True):
        waiting.append(each)
        now = at + SOON
        if following > now:
            yield now, waiting
            waiting = []
        while (now := now + EVERY) < following:
            yield now, []


def _looked(app: Flask, run: Run, now: datetime, told: list[Record], seen: dict[str, set[str]]) -> Iterator[Page]:
    client, hour = app.test_client(), (now - run.hour_zero).total_seconds() / 3600.0
    was, lines = run.truth, []
    truth = f"h {hour:.1f} {was.stage(hour)}: moisture {was.moisture(hour):.1%}, growth {was.growth(hour):.2f}"
    for first in range(0, len(told), 50):
        answers = client.post("/sync/facts", json={"entries": told[first : first + 50]}).get_json()["answers"]
        for record, answer in zip(told[first : first + 50], answers, strict=True):
            said = answer.get("meaning") or answer.get("errors")
            what = f"{record['kind']} {record.get('place', '')} {record['values']}"
            lines.append(f"wrote {what} of {record['at'][5:16]} -> {said}")
    yield Page("entry", now, truth, lines)
    for name, path in PAGES.items():
        main = re.split(r"<main[^>]*>|</main>", client.get(path).text)[1]
        read = sentences(main.partition('<section class="sheet stack power"')[0])
        yield Page(name, now, truth, [line for line in read if line.startswith(NEXT) or line not in seen.get(name, ())])
        seen[name] = set(read)


def main() -> None:
    grain, setting, person, fault, seed, which = sys.argv[1:]
    run = batch(int(seed), grain, setting, person, None if fault == "-" else fault, which)
    with tempfile.TemporaryDirectory() as folder:
        for page in diary(run, Path(folder)):
            print(f"\n=== {page.now:%a %d %b %H:%M} · truly {page.truth}" * (page.name == "entry"))
            print(*(f"  {page.name:5} | {line}" for line in page.lines), sep="\n")


if __name__ == "__main__":
    main()
