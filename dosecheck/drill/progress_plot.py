"""A learner's progress as a picture: how much was right as time went on, right answers by kind, slips by number."""

from __future__ import annotations

import io
from collections.abc import Sequence
from typing import Any

from dosecheck.drill.mark import RIGHT
from dosecheck.drill.progress import progress_of
from dosecheck.drill.record import Answer
from dosecheck.errors import DosecheckError

_LAST = 10  # answers that a point of the first picture stands for
_INK, _PALE = "#1d3557", "#c9d6e4"


def plot(answers: Sequence[Answer], form: str) -> bytes:
    """Args: form: "svg" or "png".

    Raises:
        DosecheckError: matplotlib is missing, or there is no answer yet.
    """
    if not answers:
        raise DosecheckError("There is no answer in the record yet, so there is nothing to draw.")
    try:
        import matplotlib
    except ImportError:
        raise DosecheckError('Pictures of progress need matplotlib. Install it: pip install "dosecheck[plot]"') from None
    matplotlib.use("Agg")
    from matplotlib import pyplot

    found = progress_of(answers)
    settings = {"svg.hashsalt": "dosecheck", "svg.fonttype": "none", "font.size": 10, "font.family": "DejaVu Sans"}
    with matplotlib.rc_context(settings):
        heights = [2.2, 0.5 + 0.32 * len(found.kinds), 0.5 + 0.32 * max(1, len(found.slips))]
        figure, axes = pyplot.subplots(3, 1, figsize=(7.5, sum(heights) + 1.2), height_ratios=heights, layout="constrained")
        _over_time(axes[0], answers)
        _bars(axes[1], "Right without a hint, of those asked", [(row.kind, row.right, row.asked) for row in found.kinds])
        slips = [(row.slip, row.times, row.times) for row in found.slips] or [("none named", 0, 0)]
        _bars(axes[2], "Slips, how often", slips)
        out = io.BytesIO()
        figure.savefig(out, format=form, dpi=120, metadata={"Date": None} if form == "svg" else {})
        pyplot.close(figure)
    return out.getvalue()


def _over_time(axis: Any, answers: Sequence[Answer]) -> None:
    right = [answer.result == RIGHT for answer in answers]
    shares = [100 * sum(right[max(0, n - _LAST) : n]) / min(n, _LAST) for n in range(1, len(right) + 1)]
    axis.plot(range(1, len(right) + 1), shares, color=_INK, marker="o", markersize=3)
    axis.set(title=f"Right, of the last {_LAST} answers", xlabel="answer", ylabel="%", ylim=(-5, 105))
    axis.xaxis.get_major_locator().set_params(integer=True)
    axis.grid(color=_PALE)


def _bars(axis: Any, title: str, rows: list[tuple[str, int, int]]) -> None:
    names = [name for name, _, _ in rows]
    axis.barh(names, [whole for _, _, whole in rows], color=_PALE, edgecolor=_INK, linewidth=0.6)
    axis.barh(names, [part for _, part, _ in rows], color=_INK)
    for place, (_, part, whole) in enumerate(rows):
        said = f"{part} of {whole}" if part != whole else f"{whole}"
        axis.text(whole, place, f"  {said}", va="center")
    axis.set(title=title, xlim=(0, max(1, *(whole for _, _, whole in rows)) * 1.25))
    axis.invert_yaxis()
    axis.xaxis.get_major_locator().set_params(integer=True)
