"""Fits that are kept from one look at a batch to the next: what nobody changed need not be learned again."""

from __future__ import annotations

from collections import OrderedDict
from dataclasses import replace
from functools import cached_property
from threading import Lock
from typing import TYPE_CHECKING, Any

from app.judgement.history.history import History

if TYPE_CHECKING:
    from app.judgement.forecasts.asking import Fit

MOST_KEPT = 32
Key = tuple[Any, ...]


def fit_key(history: History) -> Key:
    """What a kept fit belongs to: batch, last fact, how many stand, programme, what the lot taught, and which facts it
    goes by."""
    # A calibration changes what a batch's readings were, and is a fact about the instrument alone.
    told = [fact for chain in history.chains for fact in chain.facts]
    seqs = [fact.seq or 0 for fact in (*told, *history.instruments)]
    programme = history.programme
    taught = hash(repr(sorted((history.prior or {}).items())))
    return (
        history.batch.id,
        max(seqs, default=0),
        len(told) + len(history.instruments),
        programme.digest if programme else None,
        taught,
        tuple([fact.id for fact in history.facts]),
    )


class Fits:
    """The last fit of each batch, for a bounded number of them; safe to share between threads.

    begins_warm: whether the next fit of a batch begins with the last one.
    """

    def __init__(self, most: int = MOST_KEPT, *, begins_warm: bool = True) -> None:
        self._most, self.begins_warm = most, begins_warm
        self._kept: OrderedDict[str, tuple[Key, Fit]] = OrderedDict()
        self._lock = Lock()

    @cached_property
    def of_the_undoubted(self) -> Fits:
        """The same for the batches without what is doubted, beside their own: kept while nothing new is said."""
        return Fits(self._most, begins_warm=False)

    def lend(self, history: History) -> History:
        """The same history, whose forecasts begin with what is kept here, and are kept here."""
        return replace(history, fits=self)

    def of(self, history: History) -> tuple[Key, Fit] | None:
        """The last fit of this batch with the key of what it was learned from."""
        with self._lock:
            return self._kept.get(history.batch.id)

    def keep(self, history: History, fitted: Fit) -> None:
        with self._lock:
            self._kept[history.batch.id] = (fit_key(history), fitted)
            self._kept.move_to_end(history.batch.id)
            while len(self._kept) > self._most:
                self._kept.popitem(last=False)


def earlier_fit(history: History) -> Fit | None:
    """An earlier fit of the same batch, to begin from."""
    kept = history.fits.of(history) if history.fits is not None and history.fits.begins_warm else None
    return kept[1] if kept is not None else None


def same_fit(history: History) -> Fit | None:
    """The kept fit, where nothing was said since it was learned."""
    kept = history.fits.of(history) if history.fits is not None else None
    return kept[1] if kept is not None and kept[0] == fit_key(history) else None
