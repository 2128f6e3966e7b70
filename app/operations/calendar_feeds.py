"""Handing out the address of a calendar feed, and taking it back."""

from __future__ import annotations

from datetime import datetime

from sqlalchemy.orm import Session

from app import ports
from app.errors import NotFound, Rejected
from app.operations.devices import check_maker
from app.operations.people import SYSTEMS
from app.store.calendar_feeds import CalendarFeed, find_feed, token_digest


def make_feed(
    session: Session, *, feed_id: str, name: str, units: str, has_alarms: bool, made_by: str, now: datetime
) -> tuple[CalendarFeed, str]:
    """A new feed and its token, which is nowhere kept: it can be shown now, and never again.

    made_by: a device, or DESK.
    """
    check_maker(session, made_by)
    name = name.strip()
    if not name or len(name) > 80:
        raise Rejected({"name": "Give a name of at most 80 characters, such as that of the phone."})
    if units not in SYSTEMS:
        raise Rejected({"units": "Choose metric or US customary units."})
    if find_feed(session, feed_id) is not None:
        raise Rejected({"": "This address was made already, and can’t be shown again. Make another, and revoke that."})
    token = ports.new_token()
    feed = CalendarFeed(
        id=feed_id,
        name=name,
        token_sha256=token_digest(token),
        units=units,
        has_alarms=has_alarms,
        created_at=now,
        made_by=made_by,
    )
    session.add(feed)
    session.flush()
    return feed, token


def revoke_feed(session: Session, feed_id: str, *, now: datetime) -> CalendarFeed:
    """From now on its address opens nothing. Revoked again, it was revoked the first time."""
    feed = find_feed(session, feed_id)
    if feed is None:
        raise NotFound("calendar feed", feed_id)
    if feed.revoked_at is None:
        feed.revoked_at = now
        session.flush()
    return feed
