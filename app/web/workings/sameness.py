"""Workings of batches beside each other: is this one different?"""

from __future__ import annotations

from app.science import control_charts
from app.web.workings.asking import row
from app.web.workings.working import Given, Outcome, plain, working


@working(
    key="control-chart",
    group="sameness",
    title="Is this batch out of the usual?",
    question="I have one number from each batch, in order. Which of them lies outside what is usual?",
    asks={
        "values": row("Values in order", "49.6 47.6 49.9 51.3 47.8 51.2 52.6 52.4 53.6 52.1", -1e6, 1e6, fewest=2),
    },
    methods=("control_charts.individuals", "control_charts.prediction_interval"),
    limits="Needs about twenty batches before its limits are worth much. Outside them: look for a cause. Inside them: "
    "leave the process alone.",
)
def control_chart(g: Given) -> Outcome:
    chart = control_charts.individuals(g["values"])
    low, high = control_charts.prediction_interval(g["values"])
    outside = ", ".join(f"no. {place + 1} ({g['values'][place]:g})" for place in chart.outside)
    numbers = f"{chart.mean:.4f} ± 3 × {chart.mean_range:.4f} / 1.128"
    return Outcome(
        "Usual is",
        plain(chart.lower, decimals=4) + " to " + plain(chart.upper, decimals=4),
        ("mean ± 3 × mean moving range / 1.128; upper limit of the range 3.267 × mean range", numbers),
        (
            ("Mean", plain(chart.mean, decimals=4)),
            ("Mean moving range", plain(chart.mean_range, decimals=4)),
            ("Upper limit of the range", plain(chart.range_upper, decimals=4)),
            ("Next value, 95 %", f"{plain(low, decimals=2)} to {plain(high, decimals=2)}"),
            ("Outside", outside or "none"),
        ),
        note="",
        status="caution" if chart.outside else "fine",
        word="something was different" if chart.outside else "all inside",
    )


@working(
    key="two-groups",
    group="sameness",
    title="Are these batches better than those?",
    question="Batches of two lots, or of two ways. Do they truly differ?",
    asks={
        "first": row("Values of the first", "8.1 8.4 7.9 8.6", -1e6, 1e6),
        "second": row("Values of the second", "9.0 9.4 9.1", -1e6, 1e6),
    },
    methods=("control_charts.difference_between",),
    limits="Below three a side the numbers stand alone, with no verdict. Years, weather and hands differ too.",
)
def two_groups(g: Given) -> Outcome:
    difference = control_charts.difference_between(g["first"], g["second"])
    means = [sum(side) / len(side) for side in (g["first"], g["second"])]
    rows = [("Numbers", f"{difference.n_first} and {difference.n_second}")]
    if difference.ends is not None:
        rows.append(("95 % interval", " to ".join(plain(end, decimals=3) for end in difference.ends)))
    words = {None: "too few to say", True: "they differ", False: "may well be the same"}
    return Outcome(
        "First less second",
        plain(difference.difference, decimals=3),
        ("mean − mean, Welch’s interval", f"{means[0]:.4g} − {means[1]:.4g}"),
        tuple(rows),
        note="",
        status="none" if difference.is_clear is None else "notice" if difference.is_clear else "fine",
        word=words[difference.is_clear],
    )
