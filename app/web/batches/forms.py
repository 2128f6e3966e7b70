"""The form of a batch's title."""

from __future__ import annotations

from wtforms import Form, HiddenField, StringField
from wtforms.validators import Length


class TitleForm(Form):
    """Another title; revision is that of the title shown."""

    title = StringField("Title", validators=[Length(max=80, message="At most 80 characters.")])
    revision = HiddenField()
