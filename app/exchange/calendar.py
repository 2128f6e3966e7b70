"""The next steps of batches as a calendar that a phone subscribes to (RFC 5545, with the names of RFC 7986)."""

from __future__ import annotations

from collections.abc import Iterable, Iterator
from dataclasses import dataclass
from datetime import datetime, timedelta

from icalendar import Alarm, Calendar, Event

from app.judgement.facts.shapes import Fact
from app.judgement.history.history import History
from app.judgement.history.stages import stages
from app.judgement.steps.next_steps import NextStep, next_steps
from app.judgement.wording import Words, in_zone
from app.version import VERSION

ENTRY_LASTS = timedelta(minutes=15)
READ_AGAIN = timedelta(minutes=15)


class DatedWords(Words):
    """Words that stay true on another day than the one they were written on: no “tomorrow” in them."""

    def clock(self, moment: datetime) -> str:
        local = in_zone(moment, self.zone)
        return f"{local:%a} {local.day} {local:%b} {local:%H:%M}"


@dataclass(frozen=True)
class Entry:
    """One step as the calendar shows it. follows_id: the fact since which it has been the next."""

    uid: str
    history: History
    step: NextStep
    starts_at: datetime
    changed: Fact | None


def calendar(
    histories: Iterable[History], words: DatedWords, *, name: str, address: str, has_alarms: bool = False
) -> bytes:
    """The feed's text. address: that of this house's pages, with its last slash. A batch that ended adds nothing."""
    feed = Calendar()
    feed.add("prodid", f"-//Chitbook//Chitbook {VERSION}//EN")
    feed.add("version", "2.0")
    feed.add("calscale", "GREGORIAN")
    feed.add("method", "PUBLISH")
    feed.add("name", name)
    feed.add("x-wr-calname", name)
    feed.add("refresh-interval", READ_AGAIN, parameters={"VALUE": "DURATION"})
    feed.add("x-published-ttl", "PT15M")
    for history in histories:
        for entry in entries(history, words):
            feed.add_component(_event(entry, words, address, has_alarms))
    return feed.to_ical()


def entries(history: History, words: DatedWords) -> Iterator[Entry]:
    """The steps of one batch with names that stay: a step that is put off keeps its own, one that was done never
    gives it to the next."""
    assert words.now is not None
    now = words.now
    said = [fact for chain in history.chains for fact in chain.facts]
    changed = max(said, key=lambda fact: fact.seq or 0, default=None)
    seen: dict[str, int] = {}
    for step in next_steps(history, now, words):
        seen[step.kind] = seen.get(step.kind, 0) + 1
        more = f".{seen[step.kind]}" if seen[step.kind] > 1 else ""
        uid = f"{step.kind}.{_followed(history, step, now)}{more}.{history.batch.id}@chitbook"
        yield Entry(uid, history, step, _starts_at(history, step, now), changed)


def _followed(history: History, step: NextStep, now: datetime) -> str:
    """The fact that this step follows: the last of its own kind, or where none came since, the start of the stage.

    Named by the first of its chain, so that a correction of it moves the entry and adds none.
    """
    begun = stages(history, now)
    done = [fact for fact in history.of_kind(step.kind) if fact.at <= now]
    if done and (not begun or done[-1].at >= begun[-1].starts_at):
        return history.root_id(done[-1].id)
    return history.root_id(begun[-1].fact_id) if begun else "charged"


def _starts_at(history: History, step: NextStep, now: datetime) -> datetime:
    """When the step is due, as the pages say it. One that is due because of what was said last has been so since then:
    else it would move with every reading of the feed."""
    due = step.due_at
    if due == now:
        past = [fact.at for fact in history.facts if fact.at <= now]
        due = past[-1] if past else history.batch.created_at or now
        return due.replace(second=0, microsecond=0)
    return Words().rounded(due)


def _event(entry: Entry, words: DatedWords, address: str, has_alarms: bool) -> Event:
    assert words.now is not None
    batch, step, changed = entry.history.batch, entry.step, entry.changed
    summary = f"Batch {batch.number}: {step.what}"
    link = f"{address}batches/{batch.number}/tub"
    event = Event()
    event.add("uid", entry.uid)
    event.add("dtstamp", words.now)
    event.add("dtstart", entry.starts_at)
    event.add("dtend", entry.starts_at + ENTRY_LASTS)
    event.add("summary", summary)
    event.add("description", "\n".join([*_told(entry, words), link]))
    event.add("url", link)
    event.add("sequence", (changed.seq if changed else None) or 0)
    if changed is not None and changed.received_at is not None:
        event.add("last-modified", changed.received_at)
    if batch.vessel:
        event.add("location", batch.vessel)
    # A look into the tub leaves the time free for anything else.
    event.add("transp", "TRANSPARENT")
    if has_alarms:
        event.add_component(_alarm(summary))
    return event


def _told(entry: Entry, words: DatedWords) -> Iterator[str]:
    """Which batch, and why: when is the entry's own time."""
    assert words.now is not None
    batch, step = entry.history.batch, entry.step
    if batch.title:
        yield batch.title
    yield step.why
    if step.basis == "forecast":
        yield "An estimate."
    if step.is_overdue(words.now):
        yield f"Overdue since {words.around(entry.starts_at)}."


def _alarm(text: str) -> Alarm:
    alarm = Alarm()
    alarm.add("action", "DISPLAY")
    alarm.add("description", text)
    alarm.add("trigger", timedelta(0))
    return alarm
