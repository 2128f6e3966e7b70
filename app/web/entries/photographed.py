"""An entry that comes with photos: kept together with them, or not at all."""

from __future__ import annotations

from dataclasses import replace

from sqlalchemy.orm import Session

from app.judgement.history.history import History
from app.operations.photos import add_photo, photo_id_for
from app.web.entries.forms import EntryForm
from app.web.entries.keeping import Answer, keep_entry, put_errors
from app.web.request.photo_uploads import SentPhotos

CHOOSE_AGAIN = "Choose the photos once more: a browser sends them only once."


def keep_photographed(
    session: Session,
    form: EntryForm,
    history: History | None,
    subject: tuple[str, str],
    entered_by: str | None,
    sent: SentPhotos,
) -> Answer:
    """Keep what a form says and the photos sent with it, unless something stands against either. Does not commit."""
    if sent.wrong:
        form.validate()
        return Answer(put_errors(form, {"photo": sent.wrong}))
    answer = keep_entry(session, form, history, subject, entered_by)
    if answer.fact is None:
        is_lost = sent.were_sent and answer.current is None
        return replace(answer, form=put_errors(answer.form, {"photo": CHOOSE_AGAIN})) if is_lost else answer
    for picture in sent.pictures:
        photo_id = photo_id_for(answer.fact.id, picture)
        add_photo(
            session, photo_id=photo_id, fact_id=answer.fact.id, picture=picture, now=form.now, entered_by=entered_by
        )
    return answer
