"""The trade as a picture: how much detail settings show against the area that they leave to an outsider.

Rules: marks differ by shape and words, not by colour alone; a trial that was broken off is drawn as a bound. Drawn
without a window, and only where the extra `audit` is.
"""

from pathlib import Path
from typing import TYPE_CHECKING

from relay.audit.advising.advise import Advice
from relay.audit.advising.lattice_search import Tried
from relay.audit.advising.trial import Kept
from relay.core.errors import OperatorError
from relay.shell.ship.audit_result import say_area

if TYPE_CHECKING:
    from collections.abc import Sequence

    from matplotlib.axes import Axes

INK, PAPER, ACCENT, FAINT = "#1d1b16", "#fbf8f0", "#a3401f", "#8a8473"
LEAST_KM2 = 1e-3


def draw_trade(advice: Advice, path: Path) -> None:
    """Write the picture as PNG or SVG, as the file's ending says; OperatorError where it can't be."""
    from matplotlib.backends.backend_agg import FigureCanvasAgg
    from matplotlib.backends.backend_svg import FigureCanvasSVG
    from matplotlib.figure import Figure

    ending = path.suffix.lower()
    if ending not in (".png", ".svg"):
        raise OperatorError(f"--picture {path}: name a file that ends in .png or .svg")
    figure = Figure(figsize=(8.5, 5.5), facecolor=PAPER, layout="constrained")
    (FigureCanvasAgg if ending == ".png" else FigureCanvasSVG)(figure)
    axes = figure.add_subplot(facecolor=PAPER)
    _draw(axes, advice)
    try:
        figure.savefig(path, dpi=150, facecolor=PAPER, metadata={"Date": None} if ending == ".svg" else {})
    except OSError as error:
        raise OperatorError(f"--picture {path} can't be written: {error.strerror}") from error


def _draw(axes: "Axes", advice: Advice) -> None:
    chosen = advice.choice
    others = [one for one in advice.tried if chosen is None or one.settings != chosen.settings]
    _marks(axes, [one for one in others if one.enough], "o", INK, "keeps the promise")
    _marks(axes, [one for one in others if not one.enough], "v", FAINT, "breaks it: that much at most")
    for one in advice.known:
        axes.plot(one.detail, _km2(one.kept), "s", color=INK, fillstyle="none", markersize=8)
        axes.annotate(one.name, (one.detail, _km2(one.kept)), (8, 6), textcoords="offset points", color=INK, size=9)
    if chosen is not None:
        kept = chosen.audited or chosen.kept
        axes.plot(chosen.detail, _km2(kept), "*", color=ACCENT, markersize=18, label="advised")
    promise = say_area(advice.promise_km2).replace("km2", "km²")
    axes.axhline(advice.promise_km2, color=ACCENT, linewidth=1)
    axes.annotate(
        f"the promise: {promise}", (0.01, advice.promise_km2), (0, 4), xycoords=("axes fraction", "data"),
        textcoords="offset points", color=ACCENT, size=9,
    )  # fmt: skip
    axes.set_yscale("log")
    axes.yaxis.set_major_formatter("{x:g}")
    axes.set_xlabel("detail that followers get (a point more: a doubling)")
    axes.set_ylabel("left to search at 19 places in 20, km²")
    axes.set_title(
        f"What {advice.policy.audience} is shown, against what an outsider is left with", loc="left", color=INK
    )
    axes.spines[["top", "right"]].set_visible(False)
    axes.legend(frameon=False, loc="lower left", fontsize=9)


def _marks(axes: "Axes", tried: "Sequence[Tried]", marker: str, colour: str, label: str) -> None:
    if tried:
        points = [(one.detail, _km2(one.audited or one.kept)) for one in tried]
        axes.plot(*zip(*points, strict=True), marker, color=colour, markersize=5, label=label)


def _km2(kept: Kept) -> float:
    return max(kept.fifth_km2, LEAST_KM2)
