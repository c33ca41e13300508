"""Optimal transport of a part of what is there: a linear programme, solved exactly.

Monge's problem in Kantorovich's form, with more on one side than on the other: as much as the
smaller side holds is moved, at the least total distance (Peyré & Cuturi 2019, section 10.2, partial
transport). HiGHS, as scipy ships it, solves it.
"""

import numpy as np
from numpy.typing import ArrayLike, NDArray
from scipy import optimize, sparse

F64 = NDArray[np.float64]


def transport(supply: ArrayLike, demand: ArrayLike, distance: ArrayLike) -> F64:
    """Return how much goes from each source to each sink, (n, m).

    Parameters
    ----------
    supply : (n,) array, demand : (m,) array
        Amounts of one unit, not negative and finite.
    distance : (n, m) array
        Cost of moving one unit, not negative and finite.

    Returns
    -------
    flow : (n, m) float64 array
        Not negative; rows sum to at most ``supply``, columns to at most ``demand``, everything to
        the smaller of both totals.

    Raises
    ------
    ValueError
        If a value is negative or not finite, or the shapes do not fit.
    """
    have, want, cost = (np.asarray(each, np.float64) for each in (supply, demand, distance))
    if have.ndim != 1 or want.ndim != 1 or cost.shape != (have.size, want.size):
        raise ValueError(f"shapes {have.shape}, {want.shape}, {cost.shape}; (n,), (m,), (n, m)")
    if any((each < 0).any() or not np.isfinite(each).all() for each in (have, want, cost)):
        raise ValueError("amounts and distances must be finite and not negative")
    moved = min(have.sum(), want.sum())
    if moved == 0:
        return np.zeros(cost.shape)
    # In units of what is moved, so that the solver's tolerances fit.
    rows = sparse.kron(sparse.eye(have.size), np.ones((1, want.size)))
    columns = sparse.kron(np.ones((1, have.size)), sparse.eye(want.size))
    # A hair wider, so that rounding never makes the limits contradict the total.
    limits = np.minimum(np.concatenate([have, want]), moved) / moved * (1 + 1e-12)
    solved = optimize.linprog(
        cost.ravel() / max(cost.max(), 1e-300),
        A_ub=sparse.vstack([rows, columns]),
        b_ub=limits,
        A_eq=np.ones((1, cost.size)),
        b_eq=[1.0],
        method="highs",
    )
    if solved.x is None:  # cannot be: the problem always has a solution within its bounds
        raise RuntimeError(f"the transport was not solved: {solved.message}")
    return np.asarray(np.maximum(solved.x, 0).reshape(cost.shape) * moved)
