"""The best smooth path through a table of scores."""

import numpy as np
from numpy.typing import NDArray

Float = NDArray[np.float32]

NEVER = np.float32(-1e9)


def smooth_path(score: Float, steepest: int, bend_cost: float) -> NDArray[np.intp]:
    """Return the path (N,) of columns through ``score`` (N, K) of the greatest value.

    Value is the sum of the scores on the path less ``bend_cost`` for each column by which its
    slope changes from row to row; slopes go up to ``steepest`` columns a row and change by at
    most two. The penalty is on bends, not slopes: a tapering flank costs nothing, stepping round
    a box beside it costs four bends. Exact, by dynamic programming over (column, slope).
    """
    rows, columns = score.shape
    slopes = np.arange(-steepest, steepest + 1)[:, None]
    origin = np.arange(columns)[None, :] - slopes
    beyond = np.where((origin < 0) | (origin >= columns), NEVER, np.float32(0))
    flat = np.clip(origin, 0, columns - 1) + columns * np.arange(len(slopes))[:, None]
    values = np.empty((rows, len(slopes), columns), np.float32)
    values[0] = score[0]
    best, offer = np.empty((2, len(slopes), columns), np.float32)
    for row in range(1, rows):
        _turn(values[row - 1], np.float32(bend_cost), best, offer)
        np.take(best, flat, out=values[row], mode="clip")  # clipped already: saves a buffer
        values[row] += score[row]
        values[row] += beyond
    return _trace(values, np.float32(bend_cost), slopes.ravel())


def _turn(value: Float, bend_cost: np.float32, best: Float, offer: Float) -> None:
    """Fill ``best`` with the best value of each (slope, column) over the slopes before.

    ``offer`` is room to work in, of the same shape.
    """
    np.copyto(best, value)
    for change in (1, 2):
        np.subtract(value, bend_cost * np.float32(change), out=offer)
        np.maximum(best[change:], offer[:-change], out=best[change:])
        np.maximum(best[:-change], offer[change:], out=best[:-change])


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


def _ways(slopes: int, bend_cost: float) -> list[list[tuple[int, float]]]:
    """Return for each slope those that lead to it, the straightest first, and what they cost."""
    return [
        [(now + by, bend_cost * abs(by)) for by in (0, -1, 1, -2, 2) if 0 <= now + by < slopes]
        for now in range(slopes)
    ]
