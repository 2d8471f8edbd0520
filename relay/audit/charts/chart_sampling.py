"""Values of a grid at places between its nodes, linear both ways.

Rules: `between` knows nothing beside the unknown; for `bilinear` the nearest node decides there, known or not. More
than half a cell outside there is nothing, nor where the place is itself no number.
"""

import numpy as np

from relay.audit.charts.chart import Floats


def bilinear(values: Floats, row: Floats, column: Floats) -> Floats:
    """Return values (rows, columns) at fractional rows and columns (any shape, both alike); NaN where unknown."""
    rows, columns = values.shape
    inside = (row >= -0.5) & (row <= rows - 0.5) & (column >= -0.5) & (column <= columns - 0.5)
    row, column = (np.clip(np.where(inside, at, 0), 0, most - 1) for at, most in ((row, rows), (column, columns)))
    found = between(values, row, column)
    nearest = values[np.round(row).astype(np.int64), np.round(column).astype(np.int64)]
    found = np.where(np.isfinite(found) & np.isfinite(nearest), found, nearest)
    return np.where(inside, found, np.nan)


def between(values: Floats, row: Floats, column: Floats) -> Floats:
    """Return values as `bilinear`, but NaN outside of the nodes, and where one of the four nodes about a place is."""
    rows, columns = values.shape
    inside = (row >= 0) & (row <= rows - 1) & (column >= 0) & (column <= columns - 1)
    row, column = np.where(inside, row, 0), np.where(inside, column, 0)
    low = np.minimum(row.astype(np.int64), max(rows - 2, 0))
    left = np.minimum(column.astype(np.int64), max(columns - 2, 0))
    up, across = row - low, column - left
    high, right = np.minimum(low + 1, rows - 1), np.minimum(left + 1, columns - 1)
    south = values[low, left] * (1 - across) + values[low, right] * across
    north = values[high, left] * (1 - across) + values[high, right] * across
    return np.where(inside, south * (1 - up) + north * up, np.nan)
