"""An audit's work on an engine that runs already: a dask.distributed scheduler, by its address.

Needs the extra ``cluster``. The same tasks run as in local processes, so the results are the same;
the workers need satcheck of the same version and no disk of ours. A task whose worker is lost is
given to another one by the scheduler.
"""

from collections.abc import Callable, Iterable, Iterator
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
"""Seconds to wait for the scheduler."""


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
    from distributed import as_completed

    at_once = max(1, AHEAD * sum(client.nthreads().values()))
    of: dict[Any, Task] = {}

    def submit(task: Task) -> Any:
        future = client.submit(work, task, pure=False)
        of[future] = task
        return future

    running = as_completed([submit(task) for task in islice(coming, at_once)])
    for future in running:
        task = of.pop(future)
        error = future.exception()
        result = future.result() if error is None else Lost(_why(error))
        future.release()
        if (following := next(coming, None)) is not None:
            running.add(submit(following))
        yield task, result


def _why(error: BaseException) -> str:
    from distributed import KilledWorker

    if isinstance(error, KilledWorker):
        return "made the processes that read it crash"
    return f"an unforeseen error ({type(error).__name__}: {error})"


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
        versions = set(client.run(_version).values())
    except Exception as error:
        raise UsageError(
            f"--cluster {address}: a worker cannot load satcheck ({error}); install satcheck "
            f"{__version__} on every worker"
        ) from error
    if not versions:
        raise UsageError(f"--cluster {address}: the scheduler has no worker; start one and more")
    if versions != {__version__}:
        raise UsageError(
            f"--cluster {address}: the workers have satcheck {', '.join(sorted(versions))}; "
            f"{__version__} is needed on every worker"
        )


def _version() -> str:
    from satcheck import __version__ as version

    return version
