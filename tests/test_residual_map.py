"""The map of the residual area: what is hatched is the area, its bar is as long as it says, no date is in it."""

from io import BytesIO

import numpy as np
from geographiclib.geodesic import Geodesic
from PIL import Image

from played_cases import Teller, Trials, depths_of, invented_case, with_prior
from relay.audit.attacks.attack import Finding
from relay.audit.played import Outsider, Score, play
from relay.shell.audit.residual_map import near, residual_map, whole
from relay.shell.site.track_picture import ACCENT, INK, PAPER


def score_of(rows: slice, columns: slice) -> Score:
    """Return the score of a finding that the place is in a rectangle of cells."""
    case = with_prior(invented_case(), 0.9)
    log = np.full(case.chart.shape, -np.inf)
    log[rows, columns] = 0.0
    played = play(Outsider([Teller(Finding("x", "", log_likelihood=log))], depths_of, lambda *_: Trials()), case)
    assert played.joint is not None
    return played.joint


def pixels(png: bytes) -> np.ndarray:
    """Return the picture's pixels (rows, columns, 3)."""
    return np.asarray(Image.open(BytesIO(png)).convert("RGB")).astype(int)


def like(picture: np.ndarray, colour: str, within: int = 40) -> np.ndarray:
    """Return where pixels have about a colour."""
    wanted = np.array([int(colour[at : at + 2], 16) for at in (1, 3, 5)])
    found: np.ndarray = np.abs(picture - wanted).max(axis=2) <= within
    return found


def test_outline_is_where_the_area_is() -> None:
    """The accent's pixels span the rectangle's part of the map, to two pixels in a hundred."""
    score = score_of(slice(10, 20), slice(15, 30))
    window = whole(score)
    picture = pixels(residual_map(score, window))
    ink = np.argwhere(like(picture, INK))
    lower, upper = ink.min(axis=0), ink.max(axis=0)
    frame_rows = np.flatnonzero(like(picture, INK).sum(axis=1) > 0.5 * picture.shape[1])
    frame_columns = np.flatnonzero(like(picture, INK).sum(axis=0) > 0.5 * picture.shape[0])
    assert (lower <= upper).all()
    top, bottom, left, right = frame_rows[0], frame_rows[-1], frame_columns[0], frame_columns[-1]
    accent = np.argwhere(like(picture, ACCENT))
    rows, columns = window[0].stop - window[0].start - 1, window[1].stop - window[1].start - 1
    region = np.argwhere(score.posterior.region(score.level))
    expected = [
        bottom - (region[:, 0].max() + 0.5 - window[0].start) / rows * (bottom - top),
        left + (region[:, 1].min() - 0.5 - window[1].start) / columns * (right - left),
    ]
    assert np.abs(accent.min(axis=0) - expected).max() < 0.02 * max(picture.shape)


def test_scale_bar_is_as_long_as_it_says() -> None:
    """The longest level stroke of ink within the frame is a round number of metres, by geographiclib."""
    score = score_of(slice(10, 20), slice(15, 30))
    chart, window = score.posterior.chart, whole(score)
    picture = pixels(residual_map(score, window))
    dark = like(picture, INK)
    columns = np.flatnonzero(dark.sum(axis=0) > 0.5 * picture.shape[0])
    left, right = columns[0], columns[-1]
    within = dark[: int(picture.shape[0] * 0.88), left + 5 : right - 5]
    lengths = [_longest(row) for row in within]
    longest = max(length for length in lengths if length < 0.5 * (right - left))
    latitude = float(chart.latitude_deg[(window[0].start + window[0].stop) // 2])
    first, last = float(chart.longitude_deg[window[1].start]), float(chart.longitude_deg[window[1].stop - 1])
    wide_m = Geodesic.WGS84.Inverse(latitude, first, latitude, last)["s12"]
    bar_m = longest / (right - left) * wide_m
    nearest = min((1_000, 2_000, 5_000, 10_000), key=lambda metres: abs(metres - bar_m))
    assert abs(bar_m / nearest - 1) < 0.03


def _longest(row: np.ndarray) -> int:
    """Return the longest run of pixels that are set."""
    edges = np.flatnonzero(np.diff(np.concatenate([[0], row.astype(int), [0]])))
    return int(np.max(edges[1::2] - edges[::2], initial=0))


def test_truth_is_a_ring_of_its_own() -> None:
    """Given the truth, ink is added around it and nowhere else."""
    score = score_of(slice(10, 20), slice(15, 30))
    chart = score.posterior.chart
    truth = float(chart.latitude_deg[30]), float(chart.longitude_deg[35])
    without, with_truth = (pixels(residual_map(score, whole(score), told)) for told in (None, truth))
    changed = np.argwhere((without != with_truth).any(axis=2))
    assert 100 < len(changed)
    assert (np.ptp(changed, axis=0) < 45).all()


def test_small_area_has_a_map_of_its_own() -> None:
    """One that fills much of the declared area hasn't; the larger map holds all of the area."""
    small = score_of(slice(10, 13), slice(15, 18))
    window = near(small)
    assert window is not None
    region = small.posterior.region(small.level)
    assert region[window].sum() == region.sum()
    assert near(score_of(slice(2, 38), slice(2, 44))) is None


def test_one_cell_can_be_drawn() -> None:
    """The smallest area there is."""
    score = score_of(slice(39, 40), slice(0, 1))
    window = near(score)
    assert window is not None
    assert like(pixels(residual_map(score, window)), ACCENT).any()


def test_picture_tells_no_date_and_no_program() -> None:
    """The same numbers give the same bytes, and those hold pixels and a resolution alone."""
    score = score_of(slice(10, 20), slice(15, 30))
    one, other = residual_map(score, whole(score)), residual_map(score, whole(score))
    assert one == other
    image = Image.open(BytesIO(one))
    assert set(image.info) <= {"dpi"}
    assert like(pixels(one), PAPER, 2).mean() > 0.3
