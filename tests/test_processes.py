"""A task that crashes, hangs or fails costs itself and no other."""

import os
import signal
import time
from collections.abc import Iterator
from contextlib import closing

from satcheck.processes import Helper, Lost, each


def act(task: tuple[str, int]) -> int:
    word, number = task
    if word == "crash":
        os.kill(os.getpid(), signal.SIGSEGV)
    if word == "hang":
        time.sleep(60)
    if word == "fail":
        raise ValueError("no such thing")
    return number * number


def outcomes(tasks: list[tuple[str, int]], **how: float) -> dict[int, int | Lost]:
    found = each(act, tasks, 2, how.get("seconds", 60.0))
    return {task[1]: result for task, result in found}


def test_every_task_has_its_result() -> None:
    found = outcomes([("go", n) for n in range(20)])
    assert found == {n: n * n for n in range(20)}


def test_no_task_is_needed_for_there_to_be_none() -> None:
    assert outcomes([]) == {}


def test_a_crash_a_hang_and_an_error_are_each_one_lost_task() -> None:
    words = {1: "crash", 3: "hang", 5: "fail"}
    found = outcomes([(words.get(n, "go"), n) for n in range(8)], seconds=4)
    lost = {n: result.why for n, result in found.items() if isinstance(result, Lost)}
    assert set(lost) == set(words)
    assert "crash" in lost[1]
    assert "4 s" in lost[3]
    assert "ValueError: no such thing" in lost[5]
    assert {n: r for n, r in found.items() if n not in words} == {n: n * n for n in (0, 2, 4, 6, 7)}


def test_tasks_are_taken_only_as_processes_come_free() -> None:
    taken = 0

    def tasks() -> Iterator[tuple[str, int]]:
        nonlocal taken
        for n in range(9):
            taken += 1
            yield "go", n

    for done, _ in enumerate(each(act, tasks(), 2), 1):
        assert taken <= done + 2


def test_a_caller_who_stops_early_leaves_no_process() -> None:
    found = each(act, [("go", 1), ("hang", 2)], 2)
    assert next(found) == (("go", 1), 1)
    start = time.monotonic()
    found.close()  # type: ignore[attr-defined]
    assert time.monotonic() - start < 30  # the one that hangs was not waited for


def test_a_helper_that_a_task_kills_takes_the_next_one() -> None:
    with closing(Helper(act, 4)) as helper:
        found = [helper((word, n)) for n, word in enumerate(("go", "crash", "fail", "hang", "go"))]
    assert [one.why if isinstance(one, Lost) else one for one in found] == [
        0,
        "made the process that read it crash",
        "an unforeseen error (ValueError: no such thing)",
        "took longer than 4 s",
        16,
    ]
