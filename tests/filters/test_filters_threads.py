"""Parts worked in threads: all of them, and the first error comes out."""

import multiprocessing
import threading
import time
from collections.abc import Iterator

import cv2
import numpy as np
import pytest

from blendkit.filters.threads import each_part, each_result


@pytest.fixture(params=[1, 2, 4])
def threads(request: pytest.FixtureRequest) -> Iterator[int]:
    before = cv2.getNumThreads()
    cv2.setNumThreads(request.param)
    yield request.param
    cv2.setNumThreads(before)


def test_every_part_is_worked_once_in_as_many_threads_as_opencv_may_use(threads: int) -> None:
    done, seen = np.zeros(40, int), set[int]()

    def work(part: int) -> None:
        time.sleep(0.002)
        done[part] += 1
        seen.add(threading.get_ident())

    each_part(work, range(40))
    assert (done == 1).all()
    assert len(seen) == threads


def test_what_fails_is_told_and_parts_that_wait_are_left_out(threads: int) -> None:
    begun = []

    def work(part: int) -> None:
        begun.append(part)
        if part == 3:
            raise MemoryError(f"part {part}")
        time.sleep(0.002)

    with pytest.raises(MemoryError, match="part 3"):
        each_part(work, range(400))
    assert len(begun) < 100 + threads


def test_parts_of_a_part_are_worked_where_they_are(threads: int) -> None:
    """A part that waited for threads which wait for it would wait for ever."""
    done = np.zeros((threads * 3, 5), int)

    def work(row: int) -> None:
        each_part(lambda column: done.__setitem__((row, column), 1), range(5))

    def whole() -> None:
        each_part(work, range(len(done)))
        assert done.all()

    # In a process of its own, which can be ended: threads of this one would be waited for at exit.
    child = multiprocessing.get_context("fork").Process(target=whole)
    child.start()
    child.join(20)
    waits = child.is_alive()
    child.kill()
    child.join()
    assert not waits
    assert child.exitcode == 0


@pytest.mark.usefixtures("threads")
def test_results_come_in_the_order_of_their_parts_whichever_is_done_first() -> None:
    def late(part: int) -> int:
        time.sleep(0.004 if part % 2 else 0.0)
        return part * part

    assert each_result(late, iter(range(20))) == [part * part for part in range(20)]


@pytest.mark.usefixtures("threads")
def test_a_process_that_was_forked_has_threads_of_its_own() -> None:
    each_part(time.sleep, [0.001] * 4)
    child = multiprocessing.get_context("fork").Process(target=each_part, args=(abs, range(9)))
    child.start()
    child.join(20)
    assert child.exitcode == 0
