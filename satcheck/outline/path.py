"""The best smooth path through a table of scores."""

from functools import cache

import numpy as np
from numpy.lib.stride_tricks import as_strided, sliding_window_view
from numpy.typing import NDArray

Float = NDArray[np.float32]

NEVER = np.float32(-1e9)
MOST_BEND = 2  # slopes from row to row


def smooth_path(score: Float, steepest: int, bend_cost: float) -> NDArray[np.intp]:
    """Return the path (N,) of columns through ``score`` (N, K) of the greatest value.

    Value is the sum of the scores on the path less ``bend_cost`` for each column by which its
    slope changes from row to row; slopes go up to ``steepest`` columns a row and change by at
    most two. The penalty is on bends, not slopes: a tapering flank costs nothing, stepping round
    a box beside it costs four bends. Exact, by dynamic programming over (column, slope).
    """
    rows, columns = score.shape
    values = np.full((rows, 2 * steepest + 1 + 2 * MOST_BEND, columns), NEVER, np.float32)
    reached = values[:, MOST_BEND:-MOST_BEND]
    turned, came = _room(2 * steepest + 1, columns)
    bends = np.abs(np.arange(-MOST_BEND, MOST_BEND + 1, dtype=np.float32))[:, None, None]
    costs = bends * np.float32(bend_cost)
    before = sliding_window_view(values, reached.shape[1], 1).transpose(0, 1, 3, 2)
    offers = np.empty(before.shape[1:], np.float32)
    reached[0] = score[0]
    for row in range(1, rows):
        np.subtract(before[row - 1], costs, out=offers)
        np.maximum.reduce(offers, 0, out=turned)
        np.add(came, score[row], out=reached[row])
    return _trace(reached, np.float32(bend_cost), np.arange(-steepest, steepest + 1))


def _room(slopes: int, columns: int) -> tuple[Float, Float]:
    """Return two views (slopes, columns) of one array, which a step from row to row goes through.

    What is written to a column of the first, the second has at the column that the slope leads to:
    rows of the array are skewed by one each, and beyond either end it holds ``NEVER``.
    """
    room = np.full((slopes, columns + slopes - 1), NEVER, np.float32)
    turned = room[:, slopes // 2 : slopes // 2 + columns]
    skewed = room.strides[0] - room.strides[1], room.strides[1]
    return turned, as_strided(room.ravel()[slopes - 1 :], turned.shape, skewed)


def _trace(values: Float, bend_cost: np.float32, slopes: NDArray[np.int_]) -> NDArray[np.intp]:
    """Return the columns of the path that ends best; of equal ways the straighter one."""
    slope, column = divmod(int(values[-1].argmax()), values.shape[2])
    path = np.zeros(len(values), np.intp)
    steps, ways = slopes.tolist(), _ways(len(slopes), float(bend_cost))
    for row in range(len(values) - 1, 0, -1):  # of plain numbers: NumPy's own are slow one by one
        path[row] = column
        column -= steps[slope]
        before = values[row - 1, :, column].tolist()
        offers = [before[at] - cost for at, cost in ways[slope]]
        slope = ways[slope][offers.index(max(offers))][0]
    path[0] = column
    return path


@cache
def _ways(slopes: int, bend_cost: float) -> list[list[tuple[int, float]]]:
    """Return for each slope those that lead to it, the straightest first, and what they cost."""
    bends = sorted(range(-MOST_BEND, MOST_BEND + 1), key=abs)
    return [
        [(now + by, bend_cost * abs(by)) for by in bends if 0 <= now + by < slopes]
        for now in range(slopes)
    ]
