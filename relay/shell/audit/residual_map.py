"""The residual area as a picture: the chart, the area an outsider must search, his best guess, and the truth if known.

Rules: exact and private, for the operator's report alone. Nothing is told by colour alone: the area has an outline and
hatching, the marks have shapes. The same numbers give the same bytes, without a date or a program's name in them.
Matplotlib is loaded here, when a picture is wanted.
"""

from io import BytesIO
from math import cos, radians
from typing import Any

import numpy as np

from relay.audit.charts.chart import Chart, Floats, Mask
from relay.audit.played import Place, Score
from relay.shell.site.track_picture import ACCENT, HAIR, INK, PAPER, SOFT, nice

Window = tuple[slice, slice]

_WIDE_IN, _DOTS = 7.2, 150
_MARGIN_CELLS = 3
_FINER, _FINE_CELLS = 4, 60_000


def whole(score: Score) -> Window:
    """Return the rows and columns of the declared area."""
    return _around(score.posterior.prior, _MARGIN_CELLS)


def near(score: Score) -> Window | None:
    """Return those of the residual area, None where it fills much of the declared one."""
    region = score.posterior.region(score.level)
    spread = max(region.any(axis=axis).sum() for axis in (0, 1))
    close = _around(region, max(_MARGIN_CELLS, int(spread) // 3))
    return close if _cells(close) * 4 < _cells(whole(score)) else None


def _around(cells: Mask, margin: int) -> Window:
    rows, columns = np.flatnonzero(cells.any(axis=1)), np.flatnonzero(cells.any(axis=0))
    return (
        slice(max(0, int(rows[0]) - margin), min(cells.shape[0], int(rows[-1]) + margin + 1)),
        slice(max(0, int(columns[0]) - margin), min(cells.shape[1], int(columns[-1]) + margin + 1)),
    )


def _cells(window: Window) -> int:
    rows, columns = window
    return int((rows.stop - rows.start) * (columns.stop - columns.start))


def residual_map(score: Score, window: Window, truth: Place | None = None) -> bytes:
    """Return a PNG of the part of the chart in `window`, at least two cells each way."""
    from matplotlib.backends.backend_agg import FigureCanvasAgg
    from matplotlib.figure import Figure

    chart, (rows, columns) = score.posterior.chart, window
    latitude, longitude = chart.latitude_deg[rows], chart.longitude_deg[columns]
    stretch = 1 / cos(radians(float(latitude.mean())))
    tall_in = _WIDE_IN * stretch * float(np.ptp(latitude)) / max(float(np.ptp(longitude)), 1e-9)
    figure = Figure(figsize=(_WIDE_IN, float(np.clip(tall_in, 3.0, 9.0))), dpi=_DOTS, facecolor=PAPER)
    FigureCanvasAgg(figure)
    axes = figure.add_axes((0.13, 0.1, 0.84, 0.87), facecolor=PAPER)
    axes.set_aspect(stretch, adjustable="box")
    _seabed(axes, longitude, latitude, chart.depth_m[window])
    _declared(axes, longitude, latitude, score.posterior.prior[window])
    _region(axes, longitude, latitude, score.posterior.region(score.level)[window])
    _marks(axes, score, truth)
    axes.set_xlim(longitude[0], longitude[-1])
    axes.set_ylim(latitude[0], latitude[-1])
    _frame(axes)
    _scale(axes, chart, window)
    out = BytesIO()
    figure.savefig(out, format="png", metadata={"Software": None})
    return out.getvalue()


def _seabed(axes: Any, longitude: Floats, latitude: Floats, depth_m: Floats) -> None:
    """Draw depth contours as hair lines, and land as a plain tone."""
    land = np.where(np.isfinite(depth_m), 0.0, 1.0)
    axes.contourf(longitude, latitude, land, levels=[0.5, 1.5], colors=[HAIR], alpha=0.55)
    known = depth_m[np.isfinite(depth_m)]
    if known.size and np.ptp(known) > 1:
        step_m = nice(float(np.ptp(known)) / 8)
        levels = np.arange(np.ceil(known.min() / step_m), np.floor(known.max() / step_m) + 1) * step_m
        if levels.size:
            depths = np.ma.masked_invalid(depth_m)
            lines = axes.contour(longitude, latitude, depths, levels=levels, colors=[SOFT], linewidths=0.4)
            axes.clabel(lines, fmt="%.0f", fontsize=8, colors=SOFT)


def _declared(axes: Any, longitude: Floats, latitude: Floats, prior: Mask) -> None:
    if prior.any() and not prior.all():
        axes.contour(longitude, latitude, prior.astype(float), levels=[0.5], colors=[INK], linewidths=0.8,
                     linestyles="dashed")  # fmt: skip


def _region(axes: Any, longitude: Floats, latitude: Floats, region: Mask) -> None:
    """Draw the area to search, cell by cell: hatched, in the accent, with an outline."""
    times = _FINER if region.size <= _FINE_CELLS else 1
    inside = np.repeat(np.repeat(region.astype(float), times, axis=0), times, axis=1)
    across, up = _between(longitude, times), _between(latitude, times)
    if not region.all() and region.any():
        axes.contour(across, up, inside, levels=[0.5], colors=[ACCENT], linewidths=1.1)
    filled = axes.contourf(across, up, inside, levels=[0.5, 1.5], colors=[ACCENT], alpha=0.25)
    filled.set_hatch("////")
    filled.set_edgecolor(ACCENT)
    filled.set_linewidth(0.0)


def _between(degrees: Floats, times: int) -> Floats:
    """Return the middles of the parts when each cell is divided into so many."""
    step = float(degrees[-1] - degrees[0]) / (len(degrees) - 1)
    parts = (np.arange(times) + 0.5) / times - 0.5
    middles: Floats = (degrees[:, None] + step * parts).ravel()
    return middles


def _marks(axes: Any, score: Score, truth: Place | None) -> None:
    best = score.best
    axes.plot(_beside(score, best), best[0], "x", color=INK, markersize=10, markeredgewidth=2.2, clip_on=False)
    if truth is not None:
        axes.plot(_beside(score, truth), truth[0], "o", color=INK, fillstyle="none", markersize=15, markeredgewidth=2.2)


def _beside(score: Score, place: Place) -> float:
    """Return a place's longitude as the chart counts it, on past 180."""
    first = float(score.posterior.chart.longitude_deg[0])
    return first + (place[1] - first) % 360


def _frame(axes: Any) -> None:
    axes.tick_params(colors=INK, labelsize=10)
    axes.locator_params(nbins=5)
    for name in axes.spines:
        axes.spines[name].set_color(INK)
    axes.ticklabel_format(useOffset=False, style="plain")
    axes.set_xlabel("longitude, degrees east", color=INK, fontsize=10, fontfamily="serif")
    axes.set_ylabel("latitude, degrees north", color=INK, fontsize=10, fontfamily="serif")


def _scale(axes: Any, chart: Chart, window: Window) -> None:
    """Draw a bar of a round number of metres, in the lower left corner."""
    rows, columns = window
    middle = (rows.start + rows.stop) // 2
    to_degree_m = float(chart.metres_per_degree[1][middle])
    longitude, latitude = chart.longitude_deg[columns], chart.latitude_deg[rows]
    span_deg, tall_deg = float(np.ptp(longitude)), float(np.ptp(latitude))
    length_m = nice(span_deg * to_degree_m / 5)
    left, low = float(longitude[0]) + 0.03 * span_deg, float(latitude[0]) + 0.04 * tall_deg
    right = left + length_m / to_degree_m
    axes.plot([left, right], [low, low], color=INK, linewidth=2.2, solid_capstyle="butt")
    said = f"{length_m / 1_000:g} km" if length_m >= 1_000 else f"{length_m:g} m"
    axes.text(left, low + 0.015 * tall_deg, said, color=INK, fontsize=11, fontfamily="serif")
