"""Programmes that share most of their numbers: a file says what it is built on, and then only what differs."""

from __future__ import annotations

import re
from collections.abc import Callable, Mapping, Sequence
from typing import Any

from app.judgement.programmes.changes import removed

BASED_ON, WITHOUT, AS_FOR = "based_on", "without", "as_for"
_AS_FOR = "from memory, as for "
_FROM_MEMORY = re.compile(r"from memory(?: in part)?[,;:]?\s*")


def whole(content: Mapping[str, Any], part: Callable[[str], Mapping[str, Any]]) -> dict[str, Any]:
    """A file's content with all that it leaves to others: those in `based_on`, one laid over the other in that order.

    part: the content of the file of that name. `without`: paths of what they say that is left out. `as_for`: theirs is
    of another grain, which is named, so that here each of their numbers is from memory and says whose it is. A table
    goes into the one of its name, `[steps.2]` into the third of a list; a mark takes the place of the old one and of
    its source, and the bounds of a limit stand or fall together.
    """
    inherited: Any = {}
    for name in content.get(BASED_ON, ()):
        inherited = _laid_over(inherited, whole(part(name), part))
    if grain := content.get(AS_FOR):
        inherited = _of_another_grain(inherited, grain)
    inherited = removed(inherited, content.get(WITHOUT, ()))
    own = {name: value for name, value in content.items() if name not in (BASED_ON, WITHOUT, AS_FOR)}
    return dict(_laid_over(inherited, own))


def _laid_over(base: Any, own: Any) -> Any:
    if isinstance(base, Sequence) and not isinstance(base, str) and isinstance(own, Mapping):
        places = {str(place): each for place, each in enumerate(base)}
        return list(_laid_over(places, own).values())
    if not isinstance(base, Mapping) or not isinstance(own, Mapping) or {"low", "high"} & set(own):
        return own
    kept = {name: value for name, value in base.items() if "mark" not in own or name not in ("mark", "source")}
    return kept | {name: _laid_over(kept.get(name), value) for name, value in own.items()}


def _of_another_grain(content: Any, grain: str) -> Any:
    if isinstance(content, Mapping):
        table = {name: _of_another_grain(value, grain) for name, value in content.items()}
        if table.get("mark") in (None, "C") or table.get("source", "").startswith(_AS_FOR):
            return table
        said = _FROM_MEMORY.sub("", table.get("source", ""), count=1)
        return table | {"mark": "M", "source": f"{_AS_FOR}{grain}: {said}".removesuffix(": ")}
    return [_of_another_grain(each, grain) for each in content] if isinstance(content, list) else content
