"""The next steps as a calendar that phones subscribe to: making its addresses, revoking them, and the feed itself."""

from __future__ import annotations

import re

from flask import Blueprint, Response, abort, flash, redirect, render_template, request
from werkzeug.wrappers import Response as AnyResponse

from app import ports
from app.errors import Rejected
from app.operations.calendar_feeds import make_feed, revoke_feed
from app.store.calendar_feeds import find_feed_by_token, list_feeds
from app.web.access.house_network import house_addresses
from app.web.access.security import is_local
from app.web.calendar.forms import FeedForm
from app.web.calendar.page import Address, address_of, feed_text
from app.web.request.database import commit, db, only_read
from app.web.request.device import maker
from app.web.request.moment import request_now, zone
from app.web.request.reader import reader

calendar = Blueprint("calendar", __name__)
TOKEN = re.compile(r"[\w-]{43}", re.ASCII)


@calendar.get("/calendar")
def index() -> str:
    return _page(FeedForm(data={"id": ports.new_id(), "units": reader().units, "has_alarms": True}))


@calendar.post("/calendar")
def make() -> tuple[str, int]:
    form = FeedForm(request.form)
    try:
        feed, token = make_feed(db(), made_by=maker(), now=request_now(), **form.values())
    except Rejected as error:
        form.put_errors(error.fields)
        return _page(form), 422
    commit("/calendar")
    # Answered with the page itself: to be shown after a redirect, the token would have to be kept somewhere.
    return _page(FeedForm(data={"id": ports.new_id(), "units": feed.units}), address_of(feed, token, _house_url())), 201


@calendar.post("/calendar/<feed_id>/revoke")
def revoke(feed_id: str) -> AnyResponse:
    feed = revoke_feed(db(), feed_id, now=request_now())
    commit("/calendar")
    flash(f"The address for {feed.name} is revoked: whoever has it reads nothing any more.", "kept")
    return redirect("/calendar", 303)


@calendar.get("/calendar/<token>.ics")
def feed(token: str) -> Response:
    """Opened by the token alone: a calendar has no cookie, and asks by itself every quarter of an hour."""
    calendar_feed = find_feed_by_token(db(), token) if TOKEN.fullmatch(token) else None
    if calendar_feed is None:
        abort(404)
    answer = Response(feed_text(db(), calendar_feed, request_now(), zone(), request.host_url))
    answer.headers["Content-Type"] = "text/calendar; charset=utf-8"
    answer.headers["Content-Disposition"] = 'inline; filename="malthouse.ics"'
    answer.headers["X-Robots-Tag"] = "noindex, nofollow"
    return answer


def _house_url() -> str:
    """The house as a phone finds it, where it is opened to phones; else as this page was called."""
    house = house_addresses()
    return f"{house.addresses[0].rstrip('/')}/" if is_local(request.host) and house is not None else request.host_url


def _page(form: FeedForm, made: Address | None = None) -> str:
    only_read()
    feeds = list_feeds(db())
    is_desk_only = is_local(request.host) and house_addresses() is None
    return render_template("calendar/index.html", form=form, feeds=feeds, made=made, is_local=is_desk_only)
