"""The best smooth path through a table of scores."""

import numpy as np
from numpy.typing import NDArray

Float = NDArray[np.float32]


def smooth_path(score: Float, steepest: int, bend_cost: float) -> NDArray[np.intp]:
    """Return the path (N,) of columns through ``score`` (N, K) of the greatest value.

    Value is the sum of the scores on the path less ``bend_cost`` for each column by which its
    slope changes from row to row; slopes go up to ``steepest`` columns a row and change by at
    most two. The penalty is on bends, not slopes: a tapering flank costs nothing, stepping round
    a box beside it costs four bends. Exact, by dynamic programming over (column, slope).
    """
    rows, columns = score.shape
    slopes = np.arange(-steepest, steepest + 1)
    origin = np.arange(columns)[:, None] - slopes[None, :]
    outside = (origin < 0) | (origin >= columns)
    origin = np.clip(origin, 0, columns - 1)
    each = np.broadcast_to(np.arange(len(slopes))[None, :], origin.shape)
    value = np.repeat(score[0][:, None], len(slopes), axis=1).astype(np.float32)
    turned = np.zeros((rows, columns, len(slopes)), np.int8)
    for row in range(1, rows):
        best, turn = _best_turn(value, bend_cost)
        value = best[origin, each] + score[row][:, None]
        value[outside] = -1e9
        turned[row] = turn[origin, each]
    return _trace(value, turned, slopes)


def _best_turn(value: Float, bend_cost: float) -> tuple[Float, NDArray[np.int8]]:
    """Return for each (column, slope) the best value over the slopes before, and which it was."""
    best = value.copy()
    turn = np.zeros(value.shape, np.int8)
    for change in (1, 2):
        for new, old, step in (
            (slice(change, None), slice(None, -change), -change),
            (slice(None, -change), slice(change, None), change),
        ):
            offer = value[:, old] - np.float32(bend_cost * change)
            better = offer > best[:, new]
            best[:, new][better] = offer[better]
            turn[:, new][better] = step
    return best, turn


def _trace(value: Float, turned: NDArray[np.int8], slopes: NDArray[np.int_]) -> NDArray[np.intp]:
    column, slope = divmod(int(value.argmax()), len(slopes))
    path = np.zeros(len(turned), np.intp)
    for row in range(len(turned) - 1, -1, -1):
        path[row] = column
        turn = int(turned[row, column, slope])
        column, slope = column - int(slopes[slope]), slope + turn
    return path
