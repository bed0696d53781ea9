"""Memory that only grows with what is written."""

from pathlib import Path

import numpy as np
import pytest

from blendkit import memory
from blendkit.memory import give_back_memory, lean_copy, unwritten

STATM = Path("/proc/self/statm")
MIB = 2**20


def resident_mib() -> float:
    """Return the memory that this process holds (proc(5): second field of statm, pages)."""
    return int(STATM.read_text(encoding="ascii").split()[1]) * 4096 / MIB


@pytest.mark.skipif(not STATM.exists(), reason="the system tells no process its memory")
def test_only_what_is_written_takes_memory() -> None:
    before = resident_mib()
    picture = unwritten((8000, 6000, 3))
    assert resident_mib() - before < 40
    picture[:2000] = 1
    assert 100 < resident_mib() - before < 220
    assert float(picture[:2001].sum()) == 2000 * 6000 * 3


def test_unwritten_is_zero_and_of_the_kind_asked_for() -> None:
    assert unwritten((3, 0)).shape == (3, 0)
    half = unwritten((2, 5, 4), np.float16)
    assert half.dtype == np.float16
    assert not half.any()
    half += 1
    assert half.sum() == 40


def test_a_lean_copy_is_a_copy() -> None:
    values = np.zeros((50, 70), np.float32)
    values[10:20] = np.random.default_rng(1).uniform(-1, 1, (10, 70))
    copy = lean_copy(values)
    assert np.array_equal(copy, values)
    copy[:] = 5
    assert float(values.max()) < 1


@pytest.mark.skipif(not STATM.exists(), reason="the system tells no process its memory")
@pytest.mark.parametrize("much", [False, True])
def test_freed_blocks_go_back_where_the_process_holds_much(
    monkeypatch: pytest.MonkeyPatch, much: bool
) -> None:
    worth = (resident_mib() + (0 if much else 10_000)) * MIB
    monkeypatch.setattr(memory, "_WORTH_GIVING_BACK", worth)
    # So small that the C library keeps them, and held in place by the last, which stays.
    blocks = [np.ones(MIB // 64, np.float32) for _ in range(3200)]
    full = resident_mib()
    del blocks[:-1]
    give_back_memory()
    assert (resident_mib() < full - 100) == much
