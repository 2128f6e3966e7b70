"""The form that makes the address of a calendar feed."""

from __future__ import annotations

import re
from collections.abc import Mapping
from typing import Any

from wtforms import BooleanField, Form, HiddenField, StringField

from app import ports
from app.web.request.choice_fields import RadioField

SYSTEMS = (("metric", "metric: °C,\u00a0kg"), ("us", "US customary: °F,\u00a0lb"))
ID = re.compile(r"[\w-]{1,36}", re.ASCII)


class FeedForm(Form):
    id = HiddenField()
    name = StringField("Name", description="Whose phone reads it: so that you know which one to revoke.")
    units = RadioField("Speaks in", choices=SYSTEMS, validate_choice=False)
    has_alarms = BooleanField("Remind when a step is due")

    def values(self) -> dict[str, Any]:
        """What a feed is made of."""
        words = {name: str(self[name].data or "") for name in ("name", "units")}
        sent = str(self.id.data or "")
        feed_id = sent if ID.fullmatch(sent) else ports.new_id()
        return {"feed_id": feed_id, "has_alarms": bool(self.has_alarms.data)} | words

    def put_errors(self, wrong: Mapping[str, str]) -> None:
        """Tie each message to its field, or to the whole form."""
        self.form_errors = [message for name, message in wrong.items() if not name]
        for name in wrong.keys() & self._fields.keys():
            self[name].errors = [wrong[name]]
