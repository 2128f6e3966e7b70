"""From a valid form to a new batch, pack or dispatch; or back, with what is wrong or what should be asked first."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass, replace
from datetime import datetime, timedelta
from typing import Any

from sqlalchemy.orm import Session

from app import ports
from app.errors import KeptOtherwise, Rejected
from app.judgement.facts.records import written
from app.judgement.facts.shapes import Fact, Part, Subject
from app.judgement.history.stages import all_stages
from app.judgement.malt.dryness import too_wet
from app.judgement.meaning.meaning import range_words
from app.judgement.slips.questions import questions as slip_questions
from app.judgement.wording import Words
from app.operations.batches import open_batch, pack_batch
from app.operations.facts import record_fact
from app.store.batches import Batch, find_batch_by_id
from app.store.facts import find_fact
from app.store.house import HOUSE
from app.store.lots import list_batches_with_ergot
from app.store.packs import Pack
from app.store.programmes import get_programme
from app.web.entries.asking import hot_words
from app.web.entries.keeping import TIMES
from app.web.grain.forms import BatchForm, DispatchForm, GrainForm, PackForm, Row
from app.web.grain.sources import Source, pack_against
from app.web.request.insisted import chosen_of, digest_of

FUTURE_ALLOWED = timedelta(minutes=5)
LONG_AGO = timedelta(days=366)
ESTIMATE_MARGIN = 1.05
"""What a batch still holds is an estimate: a weight this much above it is no question yet."""

ALL_THE_SAME = {
    "charge": "Charge it",
    "merge": "Merge it",
    "roast_charge": "Roast it",
    "pack": "Pack it",
    "dispatch": "Let it go",
}
"""Splitting is left out: it is how one takes the mouldy part away."""


@dataclass(frozen=True)
class Outcome:
    """What came of a form: a batch, a pack or a dispatch; or nothing yet, with what should be asked first.

    current: what is kept already under the same id, with other content. about: names the values that are asked about.
    """

    batch: Batch | None = None
    pack: Pack | None = None
    fact: Fact | None = None
    current: Fact | None = None
    is_new: bool = False
    questions: tuple[str, ...] = ()
    about: str = ""
    touched: tuple[str, ...] = ()


def begin_batch(session: Session, form: BatchForm, words: Words, by: str | None) -> Outcome:
    """Open the batch that the form describes. Does not commit."""
    known = find_batch_by_id(session, str(form.id.data or ""))
    if known is not None:
        return Outcome(known)
    into = Subject("batch", form.id.data or ports.new_id())
    parts = _parts(session, form, words, into, into, by)
    if isinstance(parts, Outcome):
        return parts
    largest = max(parts, key=lambda part: part.dry_kg).source
    try:
        batch = open_batch(
            session,
            batch_id=into.id,
            species=form.sources[f"{largest.type}:{largest.id}"].species,
            programme=form.programme.data,
            parts=parts,
            now=form.now,
            vessel=str(form.vessel.data or ""),
            title=str(form.title.data or ""),
        )
    except Rejected as error:
        return _refused(form, error)
    touched = tuple(part.source.id for part in parts if part.source.type == "batch")
    return Outcome(batch, is_new=True, touched=touched)


def fill_pack(session: Session, form: PackForm, words: Words, batch_id: str, by: str | None) -> Outcome:
    """Fill the sack or jar that the form describes. Does not commit."""
    known = session.get(Pack, str(form.id.data or ""))
    if known is not None:
        return Outcome(pack=known)
    # Out of which batch is said by the address alone.
    form.rows[0].source.data = f"batch:{batch_id}"
    into = Subject("pack", form.id.data or ports.new_id())
    parts = _parts(session, form, words, ("batch", batch_id), into, by)
    if isinstance(parts, Outcome):
        return parts
    try:
        pack = pack_batch(session, pack_id=into.id, name=str(form.name.data or ""), part=parts[0], now=form.now)
    except Rejected as error:
        return _refused(form, error)
    return Outcome(pack=pack, is_new=True, touched=(batch_id,))


def dispatch_malt(session: Session, form: DispatchForm, words: Words, pack_id: str, by: str | None) -> Outcome:
    """Let the malt go that the form describes. Does not commit."""
    # Sent again, it would be asked whether the pack still holds that much: the first time it was taken out already.
    is_known = find_fact(session, str(form.rows[0].id.data or "")) is not None
    parts = _parts(session, form, words, ("pack", pack_id), HOUSE, by, is_asked=not is_known)
    if isinstance(parts, Outcome):
        return parts
    part = replace(parts[0], note=str(form.to.data or "").strip() or None)
    body = {"kind": form.kind, **{name: str(field.data or "") for name, field in form._fields.items()}}
    try:
        kept = record_fact(session, part, now=form.now, body=body)
    except KeptOtherwise as error:
        return Outcome(current=error.current)
    except Rejected as error:
        return _refused(form, error)
    return Outcome(fact=kept.fact, is_new=kept.is_new)


def end_merged(session: Session, form: GrainForm, merged: Batch, by: str | None) -> None:
    """Finish the batches that went into another as a whole."""
    # A second later, so that the merged batch, which inherits what happened until then, doesn't inherit its end.
    at = form.moment() + timedelta(seconds=1)
    told: dict[str, Any] = {
        "clock": "typed",
        "written_at": form.now,
        "by": by,
        "note": f"Merged into batch {merged.number}.",
    }
    for _, values in form.read:
        ended = written("finished", {}, values["source"], (at, at), entry_id=ports.new_id(), **told)
        record_fact(session, ended, now=form.now)


def _parts(
    session: Session,
    form: Any,
    words: Words,
    about: tuple[str, str],
    into: Subject,
    by: str | None,
    *,
    is_asked: bool = True,
) -> list[Part] | Outcome:
    """The facts of a form that may be kept; or that it is wrong, or what should be asked first."""
    form.target = f"{into.type}:{into.id}"
    if not form.validate():
        return Outcome()
    try:
        parts: list[Part] = form.parts(about, by)
    except Rejected as error:
        return _refused(form, error)
    digest = digest_of(form.said())
    found = _questions(session, form, parts, words) if is_asked and chosen_of(form.insist.data, digest) != "1" else ()
    return Outcome(questions=found, about=digest) if found else parts


def _questions(session: Session, form: Any, parts: Sequence[Part], words: Words) -> tuple[str, ...]:
    """What looks like a slip, and is kept when the person insists on it."""
    moment = form.moment()
    found = []
    if moment > form.now + FUTURE_ALLOWED:
        found.append(f"{words.clock(moment)} is still to come. Is that the time you mean?")
    if moment < form.now - LONG_AGO:
        found.append(f"{words.clock(moment)} is more than a year ago. Is that the time you mean?")
    digest = getattr(getattr(form, "programme", None), "data", None)
    programme = get_programme(session, digest) if digest else None
    for (row, _), part in zip(form.read, parts, strict=True):
        found += _date_question(form, row, moment, words)
        found += _stock_question(form, row, part.as_is_kg, words)
        found += _pack_questions(form, row, part.moisture_wb, words) + _held_question(session, form, row)
        found += [question.message for question in slip_questions(part, None, programme, moment)]
    return tuple(found)


def _date_question(form: Any, row: Row, moment: datetime, words: Words) -> list[str]:
    source = form.sources.get(str(row.source.data))
    if source is None or source.since is None or moment >= source.since:
        return []
    came = "taken in" if source.reference.startswith("lot:") else "filled"
    return [f"{words.clock(moment)} is before {source.name} was {came} ({words.clock(source.since)}). Is it right?"]


def _stock_question(form: Any, row: Row, as_is_kg: float, words: Words) -> list[str]:
    source = form.sources.get(str(row.source.data))
    if source is None or source.left_kg is None:
        return []
    margin = 1.0 + 1e-9 if source.reference.startswith("lot:") else ESTIMATE_MARGIN
    if as_is_kg <= source.left_kg * margin + 1e-6:
        return []
    left, more = words.mass(max(source.left_kg, 0.0)), words.mass(as_is_kg)
    return [f"By the record {source.name} has {left} left, and this takes {more}. Is the weight right?"]


def _pack_questions(form: Any, row: Row, moisture_wb: float, words: Words) -> list[str]:
    """Malt that is too wet to keep, still hot, or not done yet, is packed only when somebody insists."""
    source = form.sources.get(str(row.source.data))
    history = source.history if source is not None else None
    if form.kind != "pack" or history is None:
        return []
    asked = []
    limit = history.programme.limit("final_moisture") if history.programme else None
    if limit is not None and limit.judge(moisture_wb).position == "high":
        wanted = range_words(limit, lambda value: words.percent(value, decimals=1))
        asked.append(f"At {words.percent(moisture_wb)} it is wetter than this malt keeps at ({wanted}). Pack it so?")
    wet = too_wet(history, form.now)
    if not asked and wet is not None and row.known.data != "measured":
        figure = words.percent(wet.estimate.moisture_wb, wet.estimate.half_width)
        asked.append(f"As last known it is too wet to keep: {figure}. Pack it so?")
    if hot := hot_words(history, form.now, words):
        asked.append(f"{hot} Pack it so?")
    begun = all_stages(history)
    if begun and begun[-1].name not in ("cooling", "finished"):
        asked.append(f"The batch is not done yet: {begun[-1].word}. Pack it so?")
    return asked


def _held_question(session: Session, form: Any, row: Row) -> list[str]:
    """Malt that is held leaves the house only when somebody insists; and what is no food is made into none unasked."""
    source = form.sources.get(str(row.source.data))
    if source is None or form.kind not in ALL_THE_SAME:
        return []
    against = source.against
    if form.kind == "roast_charge" and source.reference.startswith("pack:"):
        against = pack_against(session, source.id, form.now)
    found = _ergot_words(session, source) if form.kind == "charge" else ""
    if not against:
        return [f"{found} {ALL_THE_SAME[form.kind]} all the same?"] if found else []
    held = f"{source.name} is held: " if form.kind == "dispatch" else ""
    return [f"{held}{against} {ALL_THE_SAME[form.kind]} all the same?"]


def _ergot_words(session: Session, source: Source) -> str:
    """That ergot was found in what was charged from the same lot; empty where none was."""
    numbers = list_batches_with_ergot(session, source.id)
    if not numbers:
        return ""
    of = f"batch{'es' if len(numbers) > 1 else ''} {' and '.join(map(str, numbers))}"
    return f"Ergot was found in {of} of {source.name}: look through a sample, and weigh what you find."


def _refused(form: Any, error: Rejected) -> Outcome:
    """What the operation can't take, tied to its fields; the route keeps nothing of it."""
    for name, message in error.fields.items():
        name = TIMES.get(name, name)
        field = form._fields.get(name) or form._fields.get(f"{name}_0")
        if field is None or field is form.id:
            form.form_errors = [*form.form_errors, message]
        else:
            field.errors = [message]
    return Outcome()
