"""What lay on the sieves: shares of the whole, and the plump corn on 2.5 mm and above."""

from __future__ import annotations

from dataclasses import dataclass

from app.judgement.facts.shapes import Result
from app.science.proportions import wilson_interval


@dataclass(frozen=True)
class SieveShares:
    """Shares of what was sieved. plump: on 2.8 and 2.5 mm together; interval of it where kernels were counted."""

    on_28: float
    on_25: float
    on_22: float
    through: float
    plump_interval: tuple[float, float] | None = None

    @property
    def plump(self) -> float:
        return self.on_28 + self.on_25


def sieve_shares(test: Result) -> SieveShares:
    """Shares by weight, or by count where the kernels were counted."""
    parts = [test.value, *(test.beside.get(name, 0.0) for name in ("on_25", "on_22", "through"))]
    total = sum(parts)
    interval = wilson_interval(parts[0] + parts[1], total) if test.method == "count" and total >= 1.0 else None
    on_28, on_25, on_22, through = (part / total for part in parts)
    return SieveShares(on_28, on_25, on_22, through, interval)
