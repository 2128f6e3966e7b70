"""A programme: the plan for a malt, its limits, and where each number comes from. Immutable, named by its digest."""

from __future__ import annotations

import hashlib
import json
import re
import tomllib
from collections.abc import Mapping
from dataclasses import dataclass, field
from functools import cache, cached_property
from importlib import resources
from operator import attrgetter
from types import MappingProxyType
from typing import Any

from app.judgement.facts.fields import BadValues
from app.judgement.programmes.based_on import whole
from app.judgement.programmes.changes import Change, changed, compared
from app.judgement.programmes.limits import LIMIT_UNITS, Limit, Verdict, read_limit
from app.judgement.programmes.parts import (
    MARKS,
    CeilingStep,
    Setting,
    Step,
    provenance,
    read_ceiling,
    read_setting,
    read_step,
)
from app.judgement.programmes.plan import PlannedStage, planned_curve, planned_stages
from app.judgement.programmes.reading import Table

__all__ = [
    "LIMIT_UNITS",
    "MARKS",
    "CeilingStep",
    "Change",
    "Limit",
    "PlannedStage",
    "Programme",
    "ProgrammeInvalid",
    "Setting",
    "Step",
    "Verdict",
    "differences",
    "files",
    "load_builtin",
    "provenance",
    "revise",
]

PURPOSES = ("base", "diastatic", "dark", "chit", "caramel", "smoked", "roasted", "roasted_grain")
ROASTS = frozenset({"roasted", "roasted_grain"})
"""Of finished malt, and of raw grain."""
SCALES = ("floor", "kitchen")
_KEY = re.compile(r"[a-z][a-z0-9_]{0,59}")
_DIGEST = re.compile(r"[0-9a-f]{64}")
_IMMERSION_SETTINGS = (
    "immersion_q10",
    "immersion_reference_c",
    "immersion_aerated_factor",
    "immersion_chitted_from",
)


class ProgrammeInvalid(BadValues):
    """A programme that can't be kept; `fields`: path, as in "limits/cast_moisture/target/high", -> what to mend."""


@dataclass(frozen=True, kw_only=True, eq=False)
class Programme:
    """One revision. limits, settings: by key; ceiling: from the wettest step to the driest, empty where there is none.

    husked: the acrospire grows under the husk, so growth is looked at on split kernels, in classes.
    """

    key: str
    name: str
    species: tuple[str, ...]
    purpose: str
    scale: str
    husked: bool
    steps: tuple[Step, ...]
    limits: Mapping[str, Limit]
    ceiling: tuple[CeilingStep, ...] = ()
    settings: Mapping[str, Setting] = field(default_factory=dict)
    cautions: tuple[str, ...] = ()
    note: str = ""
    parent: str | None = None

    @classmethod
    def from_dict(cls, content: Mapping[str, Any]) -> Programme:
        """Read and check a programme; ProgrammeInvalid names every field that is wrong."""
        problems: dict[str, str] = {}
        table = Table(content, "", problems)
        words = {name: table.text(name) for name in ("key", "name")}
        if words["key"] and not _KEY.fullmatch(words["key"]):
            table.say("key", "use small letters, digits and underscores, beginning with a letter.")
        programme = cls(
            **words,
            species=table.texts("species"),
            purpose=table.text("purpose", choices=PURPOSES),
            scale=table.text("scale", choices=SCALES),
            husked=table.is_true("husked"),
            note=table.text("note", is_required=False),
            cautions=table.texts("cautions"),
            parent=table.text("parent", is_required=False) or None,
            steps=tuple(read_step(row) for row in table.rows("steps")),
            limits=MappingProxyType({key: read_limit(key, row) for key, row in table.named("limits").items()}),
            ceiling=read_ceiling(table.rows("ceiling")),
            settings=MappingProxyType({key: read_setting(key, row) for key, row in table.named("settings").items()}),
        )
        _check_whole(programme, table)
        if problems:
            raise ProgrammeInvalid(problems)
        return programme

    def to_dict(self) -> dict[str, Any]:
        """Plain JSON values, canonical: the same programme always gives the same. Reads back with from_dict."""
        return {"digest": self.digest, **self._content()}

    def _content(self) -> dict[str, Any]:
        content: dict[str, Any] = {
            "key": self.key,
            "name": self.name,
            "species": list(self.species),
            "purpose": self.purpose,
            "scale": self.scale,
            "husked": self.husked,
            "note": self.note,
            "cautions": list(self.cautions),
            "steps": [step.to_dict() for step in self.steps],
            "limits": {key: limit.to_dict() for key, limit in sorted(self.limits.items())},
            "ceiling": [step.to_dict() for step in self.ceiling],
            "settings": {key: setting.to_dict() for key, setting in sorted(self.settings.items())},
        }
        return content | ({"parent": self.parent} if self.parent else {})

    @cached_property
    def digest(self) -> str:
        """SHA-256 of the canonical JSON of all but the digest: two programmes with one digest are the same."""
        text = json.dumps(self._content(), sort_keys=True, ensure_ascii=False, separators=(",", ":"))
        return hashlib.sha256(text.encode()).hexdigest()

    @property
    def is_roast(self) -> bool:
        """Neither steeped nor grown nor dried: only roasted."""
        return self.purpose in ROASTS

    def __eq__(self, other: object) -> bool:
        return isinstance(other, Programme) and other.digest == self.digest

    def __hash__(self) -> int:
        return hash(self.digest)

    def limit(self, key: str) -> Limit | None:
        """The limit of that key, or None where this programme sets none."""
        return self.limits.get(key)

    def limit_for(self, quantity: str, stage: str, moisture_wb: float | None = None) -> Limit | None:
        """The limit of a reading by its kind and stage; on the kiln the moisture tells which phase it is."""
        place = stage if stage != "kilning" else self.kiln_phase(moisture_wb)
        return self.limits.get(f"{quantity}.{place}") if place else None

    def setting(self, key: str) -> float | None:
        return self.settings[key].value if key in self.settings else None

    @property
    def immersion_q10(self) -> float:
        """How many times shorter an immersion must be for 10 °C more; only where the programme has immersions."""
        return self.settings["immersion_q10"].value

    @property
    def immersion_reference_c(self) -> float:
        return self.settings["immersion_reference_c"].value

    @property
    def immersion_aerated_factor(self) -> float:
        return self.settings["immersion_aerated_factor"].value

    def immersion_limit(
        self, water_temperature_c: float | None, chitted_fraction: float | None, aerated: bool = False
    ) -> Limit | None:
        """How long one immersion may last: less in water warmer than the reference, more in colder or when blown.

        Chitted grain has a limit of its own. What is not known (None) is taken as water at the reference, and as grain
        that has not chitted. Water colder than the programme cautions of earns no more than water at that bound.
        """
        is_chitted = chitted_fraction is not None and chitted_fraction >= (
            self.setting("immersion_chitted_from") or 0.0
        )
        limit = self.limit("immersion_chitted_h" if is_chitted else "immersion_h")
        if limit is None:
            return None
        factor, reasons = 1.0, []
        reference_c, water = self.immersion_reference_c, self.limit("water_temperature.immersion")
        coldest_c = reference_c if water is None or water.low_caution is None else water.low_caution
        warmer_c = 0.0 if water_temperature_c is None else max(water_temperature_c, coldest_c) - reference_c
        if warmer_c:
            factor *= self.immersion_q10 ** (-warmer_c / 10.0)
            word = "shortened" if warmer_c > 0.0 else "lengthened"
            reasons.append(f"{word} for water at {water_temperature_c:.1f} °C")
        if aerated:
            factor *= self.immersion_aerated_factor
            reasons.append("lengthened for blown air")
        return limit.scaled(factor, ", ".join(reasons)) if reasons else limit

    def ceiling_c(self, moisture_wb: float) -> float | None:
        """The hottest the grain may be at this moisture; None where the programme has no ceiling.

        A step holds strictly above its edge: grain at exactly 25 % belongs to the drier, hotter step below 25 %.
        """
        for step in self.ceiling:
            if moisture_wb > step.moisture_above_wb:
                return step.grain_c
        return self.ceiling[-1].grain_c if self.ceiling else None

    def kiln_phase(self, moisture_wb: float | None) -> str | None:
        """withering, drying or curing by the moisture, edges as in ceiling_c; a roast has the one phase, roasting."""
        if self.is_roast:
            return "roasting"
        withering, drying = self.setting("withering_until_wb"), self.setting("drying_until_wb")
        if moisture_wb is None or withering is None or drying is None:
            return None
        return "withering" if moisture_wb > withering else "drying" if moisture_wb > drying else "curing"

    @property
    def final_moisture_wb(self) -> float | None:
        """The moisture to stop the kiln at: the middle of the target."""
        limit = self.limit("final_moisture")
        if limit is None or limit.target_low is None or limit.target_high is None:
            return None
        return (limit.target_low + limit.target_high) / 2.0

    def planned_stages(self) -> list[PlannedStage]:
        """The plan in order; hour 0 is the beginning of the first step."""
        return planned_stages(self.steps)

    def planned_curve(self, quantity: str) -> list[tuple[float, float]]:
        """(hour, value), to be joined by straight lines: of moisture_wb, chitted_fraction or acrospire."""
        return planned_curve(self.steps, quantity, self.setting("charge_moisture_wb"))


def _check_whole(programme: Programme, table: Table) -> None:
    """What no part can see for itself."""
    if not programme.species:
        table.say("species", "name at least one species.")
    if not programme.steps:
        table.say("steps", "a programme needs at least one step.")
    if programme.parent and not _DIGEST.fullmatch(programme.parent):
        table.say("parent", "this must be the digest of the revision it was made from.")
    if "immersion_h" in programme.limits or "immersion_chitted_h" in programme.limits:
        for key in _IMMERSION_SETTINGS:
            if key not in programme.settings:
                table.say(f"settings/{key}", "this setting is needed by the limits of immersion.")
    claimed = table.text("digest", is_required=False)
    table.close()
    if claimed and not table.problems and claimed != programme.digest:
        table.say("digest", "the content is not the one that this digest names.")


def revise(programme: Programme, changes: Mapping[str, Any]) -> Programme:
    """A new revision: each path ("limits/cast_moisture/target/high", "steps/2/hours") set, or taken out by None.

    Its parent is the programme it was made from; a changed number is marked as the house's own. Where nothing
    differs, it is the programme itself. ProgrammeInvalid names the fields that can't stand.
    """
    problems: dict[str, str] = {}
    content = changed(programme.to_dict(), changes, problems)
    if problems:
        raise ProgrammeInvalid(problems)
    if not compared(programme.to_dict(), content):
        return programme
    del content["digest"]
    return Programme.from_dict(content | {"parent": programme.digest})


def differences(old: Programme, new: Programme) -> list[Change]:
    """What was changed from one revision to another: path, old value, new value."""
    return compared(old.to_dict(), new.to_dict())


@cache
def _builtin() -> Mapping[str, Programme]:
    found = (
        Programme.from_dict(whole(content, files().__getitem__)) for content in files().values() if "key" in content
    )
    return {programme.key: programme for programme in sorted(found, key=attrgetter("key"))}


@cache
def files() -> Mapping[str, Mapping[str, Any]]:
    """What stands in each built-in file, by its name; those without a key are only built upon (`based_on`)."""
    families = resources.files("app.judgement").joinpath("programmes", "builtin").iterdir()
    found = (file for family in families for file in family.iterdir() if file.name.endswith(".toml"))
    return {file.name.removesuffix(".toml"): tomllib.loads(file.read_text(encoding="utf-8")) for file in found}


def load_builtin() -> dict[str, Programme]:
    """The programmes that ship with the program, by key. The files are read once."""
    return dict(_builtin())
