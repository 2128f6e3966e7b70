"""The moisture of the grain on a tray, by its weight against its own first weighing of this load."""

from __future__ import annotations

from collections.abc import Callable, Sequence

from app.judgement.facts.shapes import Weighing
from app.judgement.grain.moisture_samples import (
    SCALE_SD,
    Against,
    MoistureSample,
    apart_kg,
    net_of,
    tray_start,
    tray_step_kg,
)  # fmt: skip
from app.judgement.history.history import History
from app.science import moisture as science

State = Callable[[float], tuple[float, float]]
"""At an hour: moisture, fraction wet basis, and its standard uncertainty."""


SURE_SDS = 2.0


def is_heavier(weighing: Weighing, than: Weighing, start: Weighing, alike: Sequence[Weighing] = ()) -> bool:
    """Whether a tray weighs more than it did: then it is another one, or was weighed with its tare.

    start: where it began, for its tare; alike: the weighings by which its scale's step is known.
    """
    return net_of(weighing, start) > net_of(than, start) + apart_kg(than, weighing, start, alike)


def tray_against(history: History, weighing: Weighing, loaded: State) -> Against | None:
    """None for a tray's first weighing, and where it weighs more than it did.

    One that weighs less than its dry matter is only thought to be is dry, as surely as its loading is known.
    """
    start = tray_start(history, weighing)
    if weighing.quality == "over_range" or start is None or start.id == weighing.id:
        return None
    if is_heavier(weighing, start, start):
        return None
    moisture_wb, sd = loaded(history.hour(start.at))
    net_kg, start_kg = net_of(weighing, start), net_of(start, start)
    if net_kg >= start_kg * (1.0 - moisture_wb - SURE_SDS * sd):
        net_kg = max(net_kg, start_kg * (1.0 - moisture_wb))
    steps = tray_step_kg(history, start), tray_step_kg(history, weighing)
    return Against(net_kg, start_kg, moisture_wb, sd, start.at, *steps, start)


def tray_sample(history: History, weighing: Weighing, loaded: State) -> MoistureSample | None:
    """None where `tray_against` is, and where it weighs less than its own dry matter can be."""
    against = tray_against(history, weighing, loaded)
    if against is None:
        return None
    try:
        value, own_sd = science.moisture_wb_with_sd(
            against.net_kg,
            against.first_kg,
            against.moisture_wb,
            mass_sd_kg=SCALE_SD * against.step_kg,
            initial_mass_sd_kg=SCALE_SD * against.first_step_kg,
            initial_moisture_sd=against.moisture_sd,
            dry_loss_sd=0.0,
        )
    except ValueError:
        # A flag asks about its tare; here there is no moisture.
        return None
    return MoistureSample(weighing.at, value, own_sd, weighing, "tray", weighing.vessel)
