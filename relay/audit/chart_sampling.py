"""Values of a grid at places between its nodes, linear both ways.

Rules: beside the unknown the nearest node decides, known or not; more than half a cell outside there is nothing.
"""

import numpy as np

from relay.audit.chart import Floats


def bilinear(values: Floats, row: Floats, column: Floats) -> Floats:
    """Return values (rows, columns) at fractional rows and columns (any shape, both alike); NaN where unknown."""
    rows, columns = values.shape
    outside = (row < -0.5) | (row > rows - 0.5) | (column < -0.5) | (column > columns - 0.5)
    row, column = np.clip(row, 0, rows - 1), np.clip(column, 0, columns - 1)
    low = np.minimum(row.astype(np.int64), max(rows - 2, 0))
    left = np.minimum(column.astype(np.int64), max(columns - 2, 0))
    up, across = row - low, column - left
    high, right = np.minimum(low + 1, rows - 1), np.minimum(left + 1, columns - 1)
    south = values[low, left] * (1 - across) + values[low, right] * across
    north = values[high, left] * (1 - across) + values[high, right] * across
    between = south * (1 - up) + north * up
    nearest = values[np.round(row).astype(np.int64), np.round(column).astype(np.int64)]
    found = np.where(np.isfinite(between) & np.isfinite(nearest), between, nearest)
    return np.where(outside, np.nan, found)
