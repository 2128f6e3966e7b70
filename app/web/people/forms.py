"""The form that adds somebody of the house."""

from __future__ import annotations

from wtforms import Form, HiddenField, StringField

from app.web.choice_fields import RadioField

SYSTEMS = (("metric", "metric: °C,\u00a0kg"), ("us", "US customary: °F,\u00a0lb"))


class PersonForm(Form):
    id = HiddenField()
    name = StringField("Name")
    units = RadioField("Reads in", choices=SYSTEMS, validate_choice=False)


class UnitsForm(Form):
    units = RadioField("Read in", choices=SYSTEMS, validate_choice=False)
