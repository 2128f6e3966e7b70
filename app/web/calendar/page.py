"""The feed of the next steps, and its address as a page shows it, once."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass
from datetime import datetime
from zoneinfo import ZoneInfo

from markupsafe import Markup
from sqlalchemy.orm import Session

from app.exchange.calendar import DatedWords, calendar
from app.judgement import rules_version
from app.judgement.history.guard import judged
from app.judgement.history.history import History
from app.judgement.history.stages import all_stages, is_live
from app.store.calendar_feeds import CalendarFeed
from app.store.digests import list_live_ids
from app.store.history import load_histories
from app.web.assets.qr import qr_svg

FEED_NAME = "Malthouse"
MOST_BATCHES = 60
"""Those that began last: more are live in no house, only seemingly so while digests are behind after an upgrade."""


@dataclass(frozen=True)
class Address:
    """Where a calendar finds a feed. subscribe: the same address as calendar programs take it."""

    feed: CalendarFeed
    url: str
    subscribe: str
    code: Markup


def address_of(feed: CalendarFeed, token: str, host_url: str) -> Address:
    """The address of a feed that was just made. host_url: that of this house's pages, as it was called."""
    url = f"{host_url}calendar/{token}.ics"
    subscribe = "webcal://" + url.partition("://")[2]
    return Address(feed, url, subscribe, qr_svg(url, f"The calendar’s address for {feed.name}"))


def feed_text(session: Session, feed: CalendarFeed, now: datetime, zone: ZoneInfo, host_url: str) -> bytes:
    """The next steps of every live batch: six statements, however many there are."""
    found = load_histories(session, list_live_ids(session, rules_version())[:MOST_BATCHES]).values()
    said_in = DatedWords(feed.units, zone, now)

    def told(histories: Sequence[History]) -> bytes:
        live = sorted(
            (history for history in histories if is_live(all_stages(history))), key=lambda each: each.batch.number
        )
        return calendar(live, said_in, name=FEED_NAME, address=host_url, has_alarms=feed.has_alarms)

    return judged(found, told)
