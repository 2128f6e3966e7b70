"""The form that adds somebody of the house."""

from __future__ import annotations

from wtforms import Form, HiddenField, RadioField, StringField

SYSTEMS = (("metric", "metric: °C, kg, L"), ("us", "US customary: °F, lb, gal"))


class PersonForm(Form):
    id = HiddenField()
    name = StringField("Name")
    units = RadioField("Reads in", choices=SYSTEMS, validate_choice=False)


class UnitsForm(Form):
    units = RadioField("Read in", choices=SYSTEMS, validate_choice=False)
