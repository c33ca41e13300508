"""The best pair of flanks on a grid, exactly, by dynamic programming.

Over (left, right) in each row, free to begin and end at any row but the last, which lies on the
picture's border. A move in which both flanks go the same way bends the axis and costs more than one
in which they part or close like mirror images.
"""

from functools import cache

import numpy as np
from numpy.typing import NDArray

from satcheck.arrays.quantile import median

Float = NDArray[np.float32]
Bool = NDArray[np.bool_]

# The weights below were set by a random search over rendered and drawn scenes: common practice,
# no source.
ALPHA, EDGE_PAR, EDGE_FLOOR, EDGE_TYPICAL = 0.03, 0.5, 3.0, 1.0
MOVE_WIDTH, MOVE_AXIS, MOVE_FAR = 0.15, 0.4, 0.3
MISS = 1.5  # an edge that a flank lacks costs more than one it has earns
FARTHEST = 2  # columns that a flank may move from row to row
MOVES = [
    (dl, dr)
    for dl in range(-FARTHEST, FARTHEST + 1)
    for dr in range(-FARTHEST, FARTHEST + 1)
    if abs(dl + dr) <= 1 and (dl, dr) != (0, 0)
]
NEVER = np.float32(-1e9)


class FlankSearch:
    """Dynamic programming over (left, right) for all directions at once: (n, directions, n).

    A state's value is that of the best ribbon whose last row so far is the present one.
    """

    def __init__(self, evidence: Float, across: Float, along: Float, least_width: int) -> None:
        """Search (directions, rows, n) of evidence, and of edges across and along the axis.

        Where an edge along is not a number, an end speaks neither for a ribbon nor against it.
        """
        typical = EDGE_FLOOR + EDGE_TYPICAL * (
            float(median(across[across > 0])) if across.any() else 0.0
        )
        flank = np.asarray(across / (across + typical) - EDGE_PAR, np.float32)
        flank = np.where(flank < 0, MISS * flank, flank).astype(np.float32)
        filled = ALPHA * _sums(evidence)
        ends = np.nan_to_num(along / (along + typical) - EDGE_PAR)
        cap = _sums(np.asarray(ends, np.float32))
        directions, rows, n = evidence.shape
        column = np.arange(n)
        narrow = np.where(column - column[:, None, None] < least_width, NEVER, np.float32(0))
        value = np.full((n, directions, n), NEVER)
        room = _room(value.shape)
        self.best = np.full(directions, NEVER)
        self._cap, self._last = cap, np.zeros(directions, np.intp)
        self._rows: list[tuple[Float, Bool]] = []
        to_right, from_left = filled + flank, flank - filled
        for row in range(rows):
            close = _between(cap[:, row])
            if row > 0:
                self._finish(row - 1, value + close)
            value = _step(value, room)
            begins = close >= value
            np.maximum(value, close, out=value)
            value += to_right[:, row]
            value += from_left[:, row].T[..., None]
            value += narrow
            self._rows.append((value, begins))

    def _finish(self, row: int, value: Float) -> None:
        """Note the ribbons that would end at ``row`` where they beat the best so far."""
        top = value.max(axis=0).max(axis=1)
        self._last[top > self.best] = row
        np.maximum(self.best, top, out=self.best)

    def trace(self, direction: int) -> NDArray[np.intp]:
        """Return (N, 3) row, left, right of the best ribbon of one direction."""
        row = int(self._last[direction])
        close = _between(self._cap[direction : direction + 1, row + 1])
        ends = self._rows[row][0][:, direction] + close[:, 0]
        left, right = divmod(int(ends.argmax()), len(ends))
        found = []
        while True:
            found.append((row, left, right))
            if row == 0 or self._rows[row][1][left, direction, right]:
                return np.array(found[::-1])
            row -= 1
            left, right = _came_from(self._rows[row][0][:, direction], left, right)


def _sums(values: Float) -> Float:
    """Return running sums along the last axis, each excluding its own cell."""
    total = np.cumsum(values, axis=-1, dtype=np.float32)
    return np.asarray(total - values, np.float32)


def _between(sums: Float) -> Float:
    """Return for all (left, direction, right) the sum of the cells left <= i < right."""
    return np.asarray(sums - sums.T[..., None])


def _move_cost(left: int, right: int) -> np.float32:
    far = max(abs(left) - 1, 0) + max(abs(right) - 1, 0)
    cost = MOVE_WIDTH * abs(right - left) + MOVE_AXIS * abs(left + right) + MOVE_FAR * far
    return np.float32(cost)


@cache
def _moves_by_cost() -> list[tuple[np.float32, list[tuple[int, int]]]]:
    """Return each cost with its moves."""
    moves: dict[np.float32, list[tuple[int, int]]] = {}
    for move in MOVES:
        moves.setdefault(_move_cost(*move), []).append(move)
    return list(moves.items())


def _room(shape: tuple[int, ...]) -> Float:
    """Return room for states (n, directions, n), with states beside them that are never reached.

    So many that in its flat view no move leads from one row or direction into another.
    """
    n, directions, _ = shape
    return np.full((n + 2 * FARTHEST, directions, n + FARTHEST), NEVER)


def _step(value: Float, room: Float) -> Float:
    """Return the best value reachable in each state by one move of both flanks.

    A move is one shift of the flat ``room``, into which the states are copied.
    """
    n, directions, _ = value.shape
    room[FARTHEST:-FARTHEST, :, :n] = value
    flat, row = room.ravel(), directions * (n + FARTHEST)

    def moved(by: tuple[int, int]) -> Float:
        start = (FARTHEST - by[0]) * row - by[1]
        return flat[start : start + n * row]

    best = moved((0, 0)).copy()
    offer = np.empty_like(best)
    for cost, (first, second, *others) in _moves_by_cost():
        np.maximum(moved(first), moved(second), out=offer)
        for other in others:
            np.maximum(offer, moved(other), out=offer)
        offer -= cost
        np.maximum(best, offer, out=best)
    return np.ascontiguousarray(best.reshape(n, directions, -1)[..., :n])


def _came_from(value: Float, left: int, right: int) -> tuple[int, int]:
    """Return the state from which ``_step`` reached (left, right)."""
    by_left, by_right, cost = _ways()
    before = np.stack([left - by_left, right - by_right])
    offers = value[tuple(np.clip(before, 0, len(value) - 1))] - cost
    offers[((before < 0) | (before >= len(value))).any(0)] = NEVER
    from_left, from_right = before[:, offers.argmax()]
    return int(from_left), int(from_right)


@cache
def _ways() -> tuple[NDArray[np.intp], NDArray[np.intp], Float]:
    """Return all moves, left and right, and their costs; those from farther right come first."""
    moves = sorted([(0, 0), *MOVES])
    left, right = np.array(moves, np.intp).T
    return left, right, np.array([_move_cost(*move) for move in moves], np.float32)
