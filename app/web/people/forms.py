"""The forms that add somebody of the house, and set up a screen."""

from __future__ import annotations

from wtforms import Form, HiddenField, StringField
from wtforms.fields import TimeField
from wtforms.validators import InputRequired

from app.web.request.choice_fields import RadioField

SYSTEMS = (("metric", "metric: °C,\u00a0kg"), ("us", "US customary: °F,\u00a0lb"))
NO_TIME = "Give a time of day, such as 21:30."


class PersonForm(Form):
    id = HiddenField()
    name = StringField("Name")
    units = RadioField("Reads in", choices=SYSTEMS, validate_choice=False)


class UnitsForm(Form):
    units = RadioField("Read in", choices=SYSTEMS, validate_choice=False)


class QuietForm(Form):
    starts = TimeField("From", [InputRequired(NO_TIME)])
    ends = TimeField("Until", [InputRequired(NO_TIME)])
