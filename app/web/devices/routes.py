"""Phones: pairing one, seeing which are let in and what they may, removing one."""

from __future__ import annotations

from flask import Blueprint, flash, g, redirect, render_template, request, session
from werkzeug.wrappers import Response as AnyResponse

from app.errors import NotFound, Rejected
from app.operations.devices import TooManyGuesses, make_code, pair_device, revoke_device
from app.store.calendar_feeds import list_feeds_made_by
from app.store.devices import MAY_MANAGE, ROLES, Device, find_device, list_devices, list_let_in_by
from app.store.people import list_people
from app.web.access.house_network import house_addresses
from app.web.access.pairing import PairForm, pairing_page
from app.web.access.peer import peer_address
from app.web.devices.forms import CodeForm
from app.web.devices.page import Shown, shown, trust_picture
from app.web.request.database import commit, db, only_read
from app.web.request.device import give_cookie, maker
from app.web.request.moment import request_now

devices = Blueprint("devices", __name__)
Page = str | tuple[str, int]


@devices.get("/devices")
def index() -> str:
    return _page(CodeForm())


@devices.post("/devices")
def make() -> Page:
    form, house = CodeForm(request.form), house_addresses()
    if house is None:
        return _page(form), 409
    role = str(form.role.data)
    try:
        code = make_code(db(), role=role, person_id=form.person.data or None, made_by=maker(), now=request_now())
    except Rejected as error:
        for name, message in error.fields.items():
            form[name].errors = [message]
        return _page(form), 422
    commit("/devices")
    # Answered with the page itself: to be shown after a redirect, the code would have to be kept somewhere.
    return _page(CodeForm(), shown(code, role, house)), 201


@devices.get("/devices/<device_id>/revoke")
def ask_revoke(device_id: str) -> str:
    phone = _device(device_id)
    return render_template(
        "devices/revoke.html",
        device=phone,
        roles=ROLES,
        feeds=list_feeds_made_by(db(), device_id),
        unknown=list_feeds_made_by(db(), None) if phone.role == MAY_MANAGE else [],
        let_in=list_let_in_by(db(), device_id),
    )


@devices.post("/devices/<device_id>/revoke")
def revoke(device_id: str) -> AnyResponse:
    device = revoke_device(db(), device_id, now=request_now())
    commit("/devices")
    flash(f"{device.name} is removed: from now on it gets nothing but the page that pairs it anew.", "kept")
    return redirect("/devices", 303)


@devices.get("/pair")
def ask() -> str:
    return pairing_page(PairForm())


@devices.post("/pair")
def pair() -> AnyResponse | Page:
    if g.is_at_desk:
        return redirect("/devices", 303)
    form = PairForm(request.form)
    told = {"code": form.code.data or "", "name": form.name.data or ""}
    try:
        device = pair_device(db(), address=peer_address(), now=request_now(), **told)
    except Rejected as error:
        form.name.errors = [error.fields["name"]]
        return pairing_page(form), 422
    except TooManyGuesses as error:
        return pairing_page(form, trouble=str(error)), 429
    if device is None:
        # That somebody guessed is noted; of what was sent nothing is stored.
        db().commit()
        form.code.errors = ["This code opens nothing: it was mistyped, used already, or is older than ten minutes."]
        return pairing_page(form), 422
    commit("/")
    return _welcome(device)


def _welcome(device: Device) -> AnyResponse:
    """Into the house, with the cookie by which the device is known from now on."""
    session.permanent = True
    if device.person_id:
        session["person"] = device.person_id
    flash(f"This phone is paired as {device.name}, and {ROLES[device.role]}.", "kept")
    answer = redirect("/", 303)
    give_cookie(answer, device)
    return answer


def _device(device_id: str) -> Device:
    device = find_device(db(), device_id)
    if device is None:
        raise NotFound("phone", device_id)
    return device


def _page(form: CodeForm, made: Shown | None = None) -> str:
    only_read()
    people, house = list_people(db()), house_addresses()
    return render_template(
        "devices/index.html",
        form=form.offer(people),
        devices=list_devices(db()),
        roles=ROLES,
        names={each.id: each.name for each in people},
        made=made,
        house=house,
        trust=trust_picture(house) if house and house.trust_addresses else None,
    )
