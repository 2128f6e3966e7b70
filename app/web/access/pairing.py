"""The page on which a phone is paired: all that anybody sees who is not let in."""

from __future__ import annotations

from flask import render_template
from wtforms import Form, StringField


class PairForm(Form):
    code = StringField("Code", description="Twelve signs, as the desk shows them; gaps and small letters don’t matter.")
    name = StringField(
        "Name of this phone", description="What is kept from here bears it: “Ide’s phone”, “malt floor”."
    )


def pairing_page(form: PairForm, *, is_revoked: bool = False, trouble: str = "") -> str:
    return render_template("devices/pair.html", form=form, is_revoked=is_revoked, trouble=trouble)
