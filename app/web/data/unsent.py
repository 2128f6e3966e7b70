"""The file into which a phone wrote what it couldn't send, taken in at the desk: each entry answered in words."""

from __future__ import annotations

import json
from dataclasses import dataclass
from typing import Any

from app.errors import Rejected
from app.judgement.facts.kinds import KINDS
from app.judgement.facts.shapes import Fact
from app.judgement.wording import Words
from app.web.entries.intake import take_in

MARK, FORM = "chitbook_outbox", 1
MOST_ENTRIES = 5000
_SAID = {201: ("fine", "taken in"), 200: ("fine", "was here already")}
_NO_ENTRY = "This is no file of unsent entries: it is made on a phone, by “Download unsent”."


@dataclass(frozen=True)
class Line:
    """What became of one entry of the file."""

    word: str
    shown: str
    when: str
    status: str
    answer: str
    why: str = ""


def entries_of(content: bytes) -> list[Any]:
    """The entries of such a file; Rejected says what is wrong with it."""
    try:
        whole = json.loads(content)
    except (ValueError, RecursionError) as error:
        raise Rejected({"file": _NO_ENTRY}) from error
    entries = whole.get("entries") if isinstance(whole, dict) else None
    if not isinstance(entries, list) or MARK not in whole:
        raise Rejected({"file": _NO_ENTRY})
    if whole[MARK] != FORM:
        raise Rejected({"file": "This file comes from a newer program. Bring this one up to date, then take it in."})
    if len(entries) > MOST_ENTRIES:
        raise Rejected({"file": f"This file holds more than {MOST_ENTRIES} entries."})
    return entries


def take_in_file(content: bytes, words: Words) -> list[Line]:
    """Keep what can be kept, and say of each entry what became of it. The same file again changes nothing."""
    entries = entries_of(content)
    taken = take_in(entries)
    return [_line(*each, words) for each in zip(entries, taken.read, taken.answers, strict=True)]


def _line(entry: Any, read: Fact | None, answer: dict[str, Any], words: Words) -> Line:
    """Kind, what was typed, and when, as far as they can be read; and what became of it."""
    status, said = _SAID.get(answer["status"], ("act", "not taken"))
    why = " ".join(answer.get("errors", {}).values())
    if not isinstance(entry, dict):
        return Line("?", "", "", status, said, why)
    kind, typed = entry.get("kind"), entry.get("typed")
    word = KINDS[kind].word if isinstance(kind, str) and kind in KINDS else str(kind)[:40]
    shown = " ".join(str(each) for each in typed.values())[:80] if isinstance(typed, dict) else ""
    return Line(word, shown, _when(read, words), status, said, why)


def _when(read: Fact | None, words: Words) -> str:
    """The time of an entry; nothing where it has none, or one that this house's clock can't show."""
    try:
        return words.clock(read.at) if read is not None else ""
    except (OverflowError, ValueError):
        return ""
