"""Reading nested tables (TOML, JSON, a form) key by key: every problem is kept with its path, and nothing is ignored.

Paths are joined with "/", because the keys of limits have dots in them: "limits/cast_moisture/target/high".
"""

from __future__ import annotations

import math
from collections.abc import Collection, Mapping
from typing import Any


class Table:
    """One table that is being read. Reading goes on after a problem, so that a form can show them all at once."""

    def __init__(self, value: Any, path: str, problems: dict[str, str]) -> None:
        self.path = path
        self.problems = problems
        self._asked: set[str] = set()
        self._data: Mapping[str, Any] = value if isinstance(value, Mapping) else {}
        if not isinstance(value, Mapping):
            self.say("", "this must be a table of named values.")

    def at(self, name: str) -> str:
        return "/".join(part for part in (self.path, name) if part)

    def say(self, name: str, problem: str) -> None:
        """Keep a problem; the first one at a path stands."""
        self.problems.setdefault(self.at(name), problem)

    def take(self, name: str) -> Any:
        self._asked.add(name)
        return self._data.get(name)

    def has(self, name: str) -> bool:
        return self._data.get(name) is not None

    def text(self, name: str, *, is_required: bool = True, choices: Collection[str] = ()) -> str:
        value = self.take(name)
        if value is None or value == "":
            if is_required:
                self.say(name, "this is missing.")
            return ""
        if not isinstance(value, str):
            self.say(name, "this must be text.")
            return ""
        if choices and value not in choices:
            self.say(name, f"“{value}” is not one of {', '.join(sorted(choices))}.")
        return value.strip()

    def texts(self, name: str) -> tuple[str, ...]:
        value = self.take(name)
        if value is None:
            return ()
        if not isinstance(value, list | tuple) or not all(isinstance(each, str) and each.strip() for each in value):
            self.say(name, "this must be a list of texts.")
            return ()
        return tuple(each.strip() for each in value)

    def is_true(self, name: str) -> bool:
        value = self.take(name)
        if not isinstance(value, bool):
            self.say(name, "this must be true or false.")
        return value is True

    def number(self, name: str, low: float, high: float) -> float:
        """A number that has to be there."""
        value = self.optional_number(name, low, high)
        if value is None:
            self.say(name, "this number is missing.")
            return low
        return value

    def optional_number(self, name: str, low: float, high: float) -> float | None:
        value = self.take(name)
        if value is None:
            return None
        if isinstance(value, bool) or not isinstance(value, int | float) or not math.isfinite(value):
            self.say(name, "this must be a number.")
            return None
        if not low <= value <= high:
            hint = " A share is given as a fraction: 45 % is 0.45." if (low, high) == (0.0, 1.0) else ""
            self.say(name, f"{value:g} is not between {low:g} and {high:g}.{hint}")
            return None
        return float(value) + 0.0

    def rows(self, name: str) -> list[Table]:
        """A list of tables; the path of each is its place in the list, from 0."""
        value = self.take(name)
        if value is None:
            return []
        if not isinstance(value, list | tuple):
            self.say(name, "this must be a list.")
            return []
        return [Table(each, f"{self.at(name)}/{place}", self.problems) for place, each in enumerate(value)]

    def named(self, name: str) -> dict[str, Table]:
        """Tables by name."""
        value = self.take(name)
        if value is None:
            return {}
        if not isinstance(value, Mapping):
            self.say(name, "this must be a table of named values.")
            return {}
        return {key: Table(each, f"{self.at(name)}/{key}", self.problems) for key, each in value.items()}

    def close(self) -> None:
        """Call when all that is known has been read: whatever is left is a slip, and is said."""
        for name in self._data:
            if name not in self._asked:
                self.say(str(name), f"“{name}” is not known here. Known are: {', '.join(sorted(self._asked))}.")
