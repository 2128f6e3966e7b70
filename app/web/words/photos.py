"""Photos as the pages show them: each with a number, an hour, and the words of its fact for those who can't see it."""

from __future__ import annotations

from dataclasses import dataclass
from datetime import datetime

from sqlalchemy.orm import Session

from app.charts.hover import fact_words
from app.charts.photo_marks import PhotoMark
from app.judgement.facts.kinds import KINDS
from app.judgement.facts.shapes import Fact, Withdrawal
from app.judgement.history.history import History
from app.judgement.wording import Words
from app.store.photos import Photo, list_photos_about
from app.web.words.figures import hour_text

LONGEST_ALT = 120


@dataclass(frozen=True)
class PhotoView:
    """One photo. fact_id: of the fact on whose page it is shown; number: counted through a batch."""

    id: str
    fact_id: str
    number: int
    alt: str
    hour: str
    at: datetime

    @property
    def address(self) -> str:
        return f"/facts/{self.fact_id}/photos"


def photos_of_batch(session: Session, history: History, words: Words) -> dict[str, list[PhotoView]]:
    """The photos of a batch by the id of the fact that stands, or stood last: a photo goes over to a correction."""
    facts = {
        fact.id: fact if len(chain.facts) == 1 else _head(chain.facts)
        for chain in history.chains
        for fact in chain.facts
    }
    photos = list_photos_about(session, [fact.subject for fact in facts.values()]) if facts else []
    own = [photo for photo in photos if photo.fact_id in facts]
    views: dict[str, list[PhotoView]] = {}
    for number, photo in enumerate(sorted(own, key=lambda photo: facts[photo.fact_id].at), start=1):
        head = facts[photo.fact_id]
        hour = hour_text(history.hour(head.at))
        alt = f"{alt_of(head, words)}, hour {hour}"
        views.setdefault(head.id, []).append(PhotoView(photo.id, photo.fact_id, number, alt, hour, head.at))
    return views


def _head(facts: tuple[Fact, ...]) -> Fact:
    said = [fact for fact in facts if not isinstance(fact, Withdrawal)]
    return (said or facts)[-1]


def alt_of(fact: Fact, words: Words) -> str:
    """What a photo shows, in the words of its fact."""
    said = " ".join(each for each in (KINDS[fact.kind].word, fact_words(fact, words.system)) if each)
    told = f"Photo: {said}. {fact.note}" if fact.note else f"Photo: {said}"
    return told if len(told) <= LONGEST_ALT else told[: LONGEST_ALT - 1].rstrip() + "…"


def photo_marks(views: dict[str, list[PhotoView]]) -> list[PhotoMark]:
    """One mark on the timeline for each fact that has photos."""
    return [PhotoMark(of_one[0].at, of_one[0].address, of_one[0].alt, len(of_one)) for of_one in views.values()]


def struck_words(photo: Photo, words: Words) -> str:
    """By whom and when a photo was struck; empty where it was not."""
    if photo.struck_at is None:
        return ""
    by = f" by {photo.struck_by}" if photo.struck_by else ""
    return f"struck out{by}, {words.clock(photo.struck_at)}"
