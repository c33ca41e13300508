"""An engine that runs already gives the same bytes, also when a worker is killed in the middle."""

import os
import signal
import subprocess
import sys
import time
from collections.abc import Iterable, Iterator
from contextlib import suppress
from functools import partial
from pathlib import Path
from typing import Any

import pytest
from drawn_shop import DrawnShop

from satcheck.audit.cluster import each_on_cluster
from satcheck.audit.judging import Done, Task, judge_task
from satcheck.calibration.file import Calibration
from satcheck.errors import UsageError
from satcheck.ledger.recording import Context
from satcheck.processes import Lost, each


@pytest.fixture(scope="module")
def cluster() -> Iterator[Any]:
    """Return an engine of two worker processes, each started again as often as it dies."""
    import dask

    # A local cluster closes for good what is just dead when it looks again, 15 s after a death.
    with dask.config.set({"distributed.deploy.lost-worker-timeout": "1 hour"}), engine(2) as made:
        yield made


def engine(workers: int) -> Any:
    from distributed import LocalCluster

    return LocalCluster(
        n_workers=workers, threads_per_worker=1, dashboard_address=":0", silence_logs=60
    )


def tasks_of(shop: DrawnShop) -> list[Task]:
    photos = [(shop.table.parent / f"{n}.png").read_bytes() for n in (0, 1)]
    return [
        Task(f"{n}", f"{n}.png", data, "basalt", "down", Context(), (f"P-{n}", "file name"))
        for n, data in enumerate(photos * 2)
    ]


def judge_or_die(bounds: Calibration, once: str, task: Task) -> Any:
    """Judge, but the first time that task 1 is tried, take the worker along."""
    if task.key == "1":
        with suppress(FileExistsError):
            os.close(os.open(once, os.O_CREAT | os.O_EXCL))
            os.kill(os.getpid(), signal.SIGKILL)
    return judge_task(bounds, task)


def always_die(task: int) -> int:
    if task == 1:
        os.kill(os.getpid(), signal.SIGKILL)
    return task


def take_a_while(task: int) -> int:
    time.sleep(0.3)
    return task


def said(results: Iterable[tuple[Task, Any]]) -> dict[str, tuple[Any, bytes]]:
    made = {}
    for task, result in results:
        assert isinstance(result, Done), result
        made[task.key] = (result.draft, result.picture)
    return made


def test_a_worker_that_is_killed_costs_nothing_and_the_bytes_are_the_same(
    cluster: Any, shop: DrawnShop, tmp_path: Path
) -> None:
    tasks, once = tasks_of(shop), tmp_path / "died"
    work = partial(judge_or_die, shop.calibration, str(once))
    there = said(each_on_cluster(work, tasks, cluster.scheduler_address))
    assert once.exists(), "no worker was killed"
    assert there == said(each(partial(judge_task, shop.calibration), tasks, 2))


@pytest.mark.parametrize("_again", range(2))  # which neighbours are blamed is the scheduler's luck
def test_a_task_that_kills_every_worker_is_one_lost_task(cluster: Any, _again: int) -> None:
    found = dict(each_on_cluster(always_die, range(8), cluster.scheduler_address))
    lost = found.pop(1)
    assert isinstance(lost, Lost)
    assert "crash" in lost.why
    assert found == {n: n for n in range(8) if n != 1}


@pytest.mark.parametrize(
    ("gone", "said"), [("workers", "all workers are gone"), ("scheduler", "the scheduler is gone")]
)
def test_an_engine_that_goes_away_ends_the_audit_with_what_was_done(
    gone: str, said: str, monkeypatch: pytest.MonkeyPatch
) -> None:
    for patience in ("PATIENCE", "WORKERLESS"):
        monkeypatch.setattr(f"satcheck.audit.cluster.{patience}", 3.0)
    with engine(1) as lost:
        results = each_on_cluster(take_a_while, range(20), lost.scheduler_address)
        assert next(results)[1] == 0
        lost.scale(0) if gone == "workers" else lost.close()
        with pytest.raises(UsageError, match=f"{said}; what was judged is kept"):
            list(results)


def test_tasks_are_taken_only_as_workers_come_free(cluster: Any) -> None:
    taken = 0

    def tasks() -> Iterator[int]:
        nonlocal taken
        for taken in range(1, 30):
            yield -taken

    for done, _ in enumerate(each_on_cluster(abs, tasks(), cluster.scheduler_address), 1):
        assert taken <= done + 4
    assert taken == 29


def test_where_no_scheduler_answers_that_is_said(monkeypatch: pytest.MonkeyPatch) -> None:
    monkeypatch.setattr("satcheck.audit.cluster.PATIENCE", 0.5)
    start = time.monotonic()
    with pytest.raises(UsageError, match="no scheduler answers"):
        list(each_on_cluster(abs, [1], "tcp://127.0.0.1:9"))
    assert time.monotonic() - start < 30


def test_without_the_extra_that_is_said(monkeypatch: pytest.MonkeyPatch) -> None:
    monkeypatch.setitem(sys.modules, "distributed", None)
    with pytest.raises(UsageError, match=r"install the extra"):
        list(each_on_cluster(abs, [1], "tcp://127.0.0.1:9"))


def test_the_default_loads_none_of_it() -> None:
    code = (
        "import sys, satcheck.audit.running, satcheck.audit.cluster, satcheck.audit.outputs, "
        "satcheck.processes; print([m for m in sys.modules if m.split('.')[0] in "
        "('dask', 'distributed')])"
    )
    told = subprocess.run([sys.executable, "-c", code], capture_output=True, text=True, check=True)
    assert told.stdout.strip() == "[]"
