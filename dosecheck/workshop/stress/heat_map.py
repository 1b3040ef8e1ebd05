"""The share caught as a picture: medicines down, slips across, a number in every cell, one hue that prints in grey."""

from __future__ import annotations

import io
from typing import Any

from dosecheck.errors import DosecheckError
from dosecheck.workshop.stress.tally import Count, Stress, slip_words

_INK, _DARK_FROM = "#1d3557", 0.55  # above it the cell is dark, and its number white


def heat_map(found: Stress, form: str) -> bytes:
    """Args: form: "svg" or "png".

    Raises:
        DosecheckError: matplotlib is missing, or nothing was counted.
    """
    if not found.cells:
        raise DosecheckError("No wrong order was counted, so there is nothing to draw.")
    matplotlib = library()
    matplotlib.use("Agg")
    from matplotlib import pyplot

    settings = {"svg.hashsalt": "dosecheck", "svg.fonttype": "none", "font.size": 9, "font.family": "DejaVu Sans", "hatch.linewidth": 0.5}
    with matplotlib.rc_context(settings):
        size = (4 + 0.55 * len(found.by_slip), 5.5 + 0.25 * len(found.by_medicine))
        figure, axis = pyplot.subplots(figsize=size, layout="constrained")
        _cells(axis, found)
        _labels(axis, found)
        out = io.BytesIO()
        figure.savefig(out, format=form, dpi=110, metadata={"Date": None} if form == "svg" else {})
        pyplot.close(figure)
    return out.getvalue()


def library() -> Any:
    """matplotlib, or one sentence; asked for before a long run as well."""
    try:
        import matplotlib
    except ImportError:
        raise DosecheckError('The heat map needs matplotlib. Install it: pip install "dosecheck[plot]"') from None
    return matplotlib


def _cells(axis: Any, found: Stress) -> None:
    from matplotlib.colors import LinearSegmentedColormap
    from matplotlib.patches import Rectangle

    hue = LinearSegmentedColormap.from_list("missed", ["#ffffff", _INK])
    for y, medicine in enumerate(found.by_medicine):
        for x, key in enumerate(found.by_slip):
            count = found.cells.get((medicine, *key), Count())
            missed = 1 - float(count.share)
            face = hue(missed) if count.whole else "#ffffff"
            axis.add_patch(
                Rectangle((x, y), 1, 1, facecolor=face, edgecolor="#8a8a8a", linewidth=0.4, hatch=None if count.whole else "////")
            )
            if count.whole:
                colour = "white" if missed > _DARK_FROM else "black"
                axis.text(x + 0.5, y + 0.5, _whole_percent(count), ha="center", va="center", color=colour, fontsize=8)


def _whole_percent(count: Count) -> str:
    """Down to a whole number, so that 100 is all of them."""
    return str(int(100 * count.share))


def _labels(axis: Any, found: Stress) -> None:
    names, slips = list(found.by_medicine), found.by_slip
    orders = sum(count.whole for count in slips.values())
    axis.set(xlim=(0, len(slips)), ylim=(len(names), 0))
    axis.set_xticks(
        [x + 0.5 for x in range(len(slips))],
        [f"{slip_words(slip, way)}\nn = {count.whole:,}" for (slip, way), count in slips.items()],
        rotation=90,
    )
    axis.set_yticks([y + 0.5 for y in range(len(names))], [f"{name} ({found.by_medicine[name].whole:,})" for name in names])
    axis.tick_params(length=0, labeltop=True)
    axis.set_title(
        f"Wrong orders caught, in % (n = {orders:,})\nWhite: all caught; the darker, the more pass; hatched: not applicable", fontsize=11
    )
