"""Every working, under what one would ask; a new one is a function in its group's module and nothing else."""

from __future__ import annotations

from collections import defaultdict
from collections.abc import Mapping
from types import MappingProxyType

from app.web.workings import account, air, bakery, growing, heat, keeping, kiln, lot, malt, planning, sameness, weight
from app.web.workings.working import Working

GROUPS: Mapping[str, str] = MappingProxyType(
    {
        "plan": "Before you start",
        "lot": "Is the grain good?",
        "weight": "How moist is it?",
        "growing": "The growing bed",
        "kiln": "Air and kiln",
        "account": "What came of it?",
        "malt": "The malt",
        "bakery": "In the bakery",
        "keeping": "Will it keep?",
        "sameness": "Is this batch different?",
    }
)
_MODULES = (planning, weight, lot, growing, air, kiln, heat, account, malt, bakery, keeping, sameness)
WORKINGS: Mapping[str, Working] = MappingProxyType(
    {each.key: each for module in _MODULES for each in vars(module).values() if isinstance(each, Working)}
)


def grouped() -> list[tuple[str, list[Working]]]:
    """The workings under the title of their group."""
    return [(title, [each for each in WORKINGS.values() if each.group == key]) for key, title in GROUPS.items()]


def _by_method() -> dict[str, list[Working]]:
    by_method: defaultdict[str, list[Working]] = defaultdict(list)
    for each in WORKINGS.values():
        for anchor in each.methods:
            by_method[anchor].append(each)
    return dict(by_method)


WORKINGS_BY_METHOD: Mapping[str, list[Working]] = MappingProxyType(_by_method())
"""Which workings use a formula."""
