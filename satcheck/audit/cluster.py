"""An audit's work on an engine that runs already: a dask.distributed scheduler, by its address.

Needs the extra ``cluster``. The same tasks run as in local processes, so the results are the same;
the workers need satcheck of the same version and no disk of ours. A task whose worker is lost is
given to another one by the scheduler.
"""

from collections.abc import Callable, Iterable, Iterator
from concurrent.futures import CancelledError
from contextlib import suppress
from itertools import islice
from typing import Any, TypeVar

from satcheck import __version__
from satcheck.errors import UsageError
from satcheck.processes import Lost

Task = TypeVar("Task")
Result = TypeVar("Result")

AHEAD = 2
"""Tasks given out for each thread of the cluster: one to work at, one that waits."""
PATIENCE = 10.0
"""Seconds to wait for the scheduler, and for a first worker."""
WORKERLESS = 60.0
"""Seconds without a worker, after which none is expected any more."""
_KILLED = Lost("made the processes that read it crash")


def each_on_cluster(
    work: Callable[[Task], Result], tasks: Iterable[Task], address: str
) -> Iterator[tuple[Task, Result | Lost]]:
    """Yield each task with its result, in the order in which they end; as `processes.each`.

    Raises
    ------
    UsageError
        If dask.distributed is not installed, the scheduler cannot be reached or has no workers, or
        the workers have another version of satcheck.
    """
    client = _connect(address)
    try:
        yield from _spread(client, work, iter(tasks))
    finally:
        client.close()


def _spread(
    client: Any, work: Callable[[Task], Result], coming: Iterator[Task]
) -> Iterator[tuple[Task, Result | Lost]]:
    """Yield the results; a task that was there when workers died is tried again by itself.

    The scheduler blames every task that waits on a worker for that worker's death, so that one
    task that kills its workers would take its neighbours along.
    """
    at_once = max(1, AHEAD * sum(client.nthreads().values()))
    suspects: list[Task] = []
    for task, result in _abreast(client, work, coming, at_once):
        if result is _KILLED:
            suspects.append(task)
        else:
            yield task, result
    yield from _abreast(client, work, iter(suspects), 1)


def _abreast(
    client: Any, work: Callable[[Task], Result], coming: Iterator[Task], at_once: int
) -> Iterator[tuple[Task, Result | Lost]]:
    of: dict[Any, Task] = {}
    while True:
        for task in islice(coming, at_once - len(of)):
            of[client.submit(work, task, pure=False)] = task
        if not of:
            return
        for future, result in _ended(client, list(of)):
            yield of.pop(future), result


def _ended(client: Any, futures: list[Any]) -> list[tuple[Any, Any]]:
    """Return those that end next, each with its result; an engine that is gone is not waited for.

    Raises
    ------
    UsageError
        If the scheduler is gone, or has been without a worker for too long.
    """
    gone = f"--cluster {client.scheduler.address}: {{}}; what was judged is kept: start {{}} and "
    gone += "give the same command again"
    try:
        return [(future, _result(future)) for future in _wait(client, futures)]
    except TimeoutError as error:
        raise UsageError(gone.format("all workers are gone", "workers")) from error
    except (CancelledError, OSError) as error:
        raise UsageError(gone.format("the scheduler is gone", "it")) from error


def _wait(client: Any, futures: list[Any]) -> Iterable[Any]:
    from distributed import wait

    while True:
        with suppress(TimeoutError):
            done: Iterable[Any] = wait(futures, PATIENCE, "FIRST_COMPLETED").done
            return done
        client.wait_for_workers(1, WORKERLESS)


def _result(future: Any) -> Any:
    error = future.exception()
    result = future.result() if error is None else _lost(error)
    future.release()
    return result


def _lost(error: BaseException) -> Lost:
    from distributed import KilledWorker

    if isinstance(error, KilledWorker):
        return _KILLED
    return Lost(f"an unforeseen error ({type(error).__name__}: {error})")


def _connect(address: str) -> Any:
    try:
        import dask
        from distributed import Client
    except ImportError as error:
        raise UsageError(
            '--cluster needs dask.distributed: install the extra, as in pip install ".[cluster]"'
        ) from error
    # A photo goes with its task: what is put on a worker beforehand is lost with it.
    dask.config.set({"distributed.admin.large-graph-warning-threshold": "1 GB"})
    try:
        client = Client(address, timeout=PATIENCE)
    except (OSError, ValueError, TypeError) as error:
        why = " ".join(str(error).split()) or type(error).__name__
        raise UsageError(
            f"--cluster {address}: no scheduler answers ({why}); tcp://HOST:PORT of a "
            "dask.distributed scheduler is allowed"
        ) from error
    try:
        _check_workers(client, address)
    except BaseException:
        client.close()
        raise
    return client


def _check_workers(client: Any, address: str) -> None:
    try:
        client.wait_for_workers(1, PATIENCE)
    except TimeoutError as error:
        raise UsageError(
            f"--cluster {address}: the scheduler has no worker; start one and more"
        ) from error
    try:
        versions = set(client.run(_version).values())
    except Exception as error:
        raise UsageError(
            f"--cluster {address}: a worker cannot load satcheck ({error}); install satcheck "
            f"{__version__} on every worker"
        ) from error
    if versions != {__version__}:
        raise UsageError(
            f"--cluster {address}: the workers have satcheck {', '.join(sorted(versions))}; "
            f"{__version__} is needed on every worker"
        )


def _version() -> str:
    from satcheck import __version__ as version

    return version
