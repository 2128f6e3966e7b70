"""Changing a programme's content by paths, and telling two contents apart. Works on plain tables, canonical ones."""

from __future__ import annotations

from collections.abc import Iterable, Mapping
from copy import deepcopy
from typing import Any, NamedTuple

from app.judgement.programmes.parts import provenance

NOT_CONTENT = frozenset({"digest", "parent"})


class Change(NamedTuple):
    """One value that differs, by its path; None where one side has none."""

    path: str
    old: Any
    new: Any


def flattened(content: Any, path: str = "") -> dict[str, Any]:
    """Every single value by its path, in the content's own order."""
    if isinstance(content, Mapping):
        parts = [(str(key), value) for key, value in content.items()]
    elif isinstance(content, list | tuple):
        parts = [(str(place), value) for place, value in enumerate(content)]
    else:
        return {path: content}
    flat: dict[str, Any] = {}
    for key, value in parts:
        flat |= flattened(value, f"{path}/{key}" if path else key)
    return flat


def compared(old: Mapping[str, Any], new: Mapping[str, Any]) -> list[Change]:
    """What differs, old order first, then what is new; digest and parent aside."""
    before = {path: value for path, value in flattened(old).items() if path not in NOT_CONTENT}
    after = {path: value for path, value in flattened(new).items() if path not in NOT_CONTENT}
    paths = [*before, *(path for path in after if path not in before)]
    return [Change(path, before.get(path), after.get(path)) for path in paths if before.get(path) != after.get(path)]


def changed(content: Mapping[str, Any], changes: Mapping[str, Any], problems: dict[str, str]) -> dict[str, Any]:
    """A copy with each path set to its value, or taken out where that is None (and nothing done where there is none).

    A number that was changed is the house's own from then on, whatever mark it bore: it keeps a published mark only
    where the mark or the source was changed with it.
    """
    result: dict[str, Any] = deepcopy(dict(content))
    old = flattened(content)
    gone = [path for path, value in changes.items() if value is None]
    real = {path: value for path, value in changes.items() if path in gone or old.get(path) != value}
    for path in sorted(set(real) - set(gone)):
        _set(result, path, real[path], problems)
    if problems:
        return result
    for path in real:
        if not _is_number(real[path], old.get(path)):
            continue
        parent = path.rpartition("/")[0]
        if f"{parent}/mark" not in real and f"{parent}/source" not in real:
            _make_own(result, parent)
    return removed(result, gone)


def removed(content: Mapping[str, Any], paths: Iterable[str]) -> dict[str, Any]:
    """A copy without what stands at these paths; nothing is done where there is nothing."""
    result: dict[str, Any] = deepcopy(dict(content))
    for path in sorted(paths, key=_place, reverse=True):
        _remove(result, path)
    return result


def _is_number(new: Any, old: Any) -> bool:
    return any(isinstance(value, int | float) and not isinstance(value, bool) for value in (new, old))


def _place(path: str) -> list[tuple[int, str]]:
    """Sorts list places by number, so that the last are taken out first and the others keep theirs."""
    return [(int(part), "") if part.isdigit() else (-1, part) for part in path.split("/")]


def _find(content: Any, path: str, *, is_making: bool = False) -> Any:
    """The table or list at the path; KeyError where there is none."""
    for part in path.split("/") if path else ():
        if isinstance(content, list) and part.isdigit() and int(part) < len(content):
            content = content[int(part)]
        elif isinstance(content, dict) and (part in content or is_making):
            content = content.setdefault(part, {})
        else:
            raise KeyError(path)
    return content


def _set(content: dict[str, Any], path: str, value: Any, problems: dict[str, str]) -> None:
    parent, _, name = path.rpartition("/")
    try:
        target = _find(content, parent, is_making=True)
    except KeyError:
        problems[path] = "there is no such place in this programme."
        return
    if isinstance(target, dict):
        target[name] = deepcopy(value)
    elif isinstance(target, list) and name.isdigit() and int(name) <= len(target):
        target[int(name) : int(name) + 1] = [deepcopy(value)]
    else:
        problems[path] = "there is no such place in this programme."


def _remove(content: dict[str, Any], path: str) -> None:
    parent, _, name = path.rpartition("/")
    try:
        target = _find(content, parent)
        del target[int(name) if isinstance(target, list) else name]
    except (KeyError, IndexError, ValueError, TypeError):
        return
    if isinstance(target, dict) and target and set(target) <= {"mark", "source"}:
        # A band whose last bound was cleared is no band.
        _remove(content, parent)


def _make_own(content: dict[str, Any], path: str) -> None:
    table = _find(content, path)
    if not isinstance(table, dict) or table.get("mark") == "H" or not path:
        return
    before = provenance(table["mark"], table.get("source", "")) if table.get("mark") else ""
    table["mark"] = "H"
    table["source"] = f"the house's own; before, {before}" if before else "the house's own"
