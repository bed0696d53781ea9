"""Pairs on a real Dask distributed scheduler with two worker processes, one of them killed."""

import os
import signal
import subprocess
import sys
import threading
import time
from collections.abc import Iterator
from pathlib import Path

import pytest
from stub_work import content, invented_pairs, work

from blendkit.batch.cluster import Cluster
from blendkit.batch.run import Order, run_batch
from blendkit.errors import InputError

distributed = pytest.importorskip("distributed")
HERE = Path(__file__).parent


@pytest.fixture
def scheduler(tmp_path: Path) -> Iterator[tuple[str, list[subprocess.Popen[bytes]]]]:
    """Start a scheduler and two workers as programs of their own."""
    env = os.environ | {"PYTHONPATH": str(HERE), "DASK_DISTRIBUTED__WORKER__DAEMON": "False"}
    file = tmp_path / "scheduler.json"
    quiet = {"stdout": subprocess.DEVNULL, "stderr": subprocess.DEVNULL}
    head = subprocess.Popen(
        [sys.executable, "-m", "distributed.cli.dask_scheduler", "--port", "0", "--no-dashboard",
         "--scheduler-file", str(file), "--host", "127.0.0.1"],
        env=env, **quiet,  # type: ignore[call-overload]
    )  # fmt: skip
    workers = [
        subprocess.Popen(
            [sys.executable, "-m", "distributed.cli.dask_worker", "--scheduler-file", str(file),
             "--nthreads", "1", "--no-nanny", "--no-dashboard",
             "--local-directory", str(tmp_path / f"worker{k}")],
            env=env, **quiet,  # type: ignore[call-overload]
        )
        for k in range(2)
    ]  # fmt: skip
    try:
        yield _address(file), workers
    finally:
        for process in (*workers, head):
            process.kill()
            process.wait()


def _address(file: Path) -> str:
    import json  # noqa: PLC0415

    deadline = time.monotonic() + 90
    while time.monotonic() < deadline:
        try:
            return str(json.loads(file.read_text())["address"])
        except (OSError, ValueError):
            time.sleep(0.05)
    pytest.fail("the scheduler did not start")


def test_every_pair_ends_although_a_worker_is_killed_half_way(
    tmp_path: Path, scheduler: tuple[str, list[subprocess.Popen[bytes]]]
) -> None:
    address, workers = scheduler
    pairs = invented_pairs(tmp_path / "shoot", ["ok"] * 23 + ["error"], took_ms=60)
    out = tmp_path / "out"

    def kill_half_way() -> None:
        deadline = time.monotonic() + 90
        log = out / "done.log"
        while time.monotonic() < deadline and (
            not log.exists() or len(log.read_text().split()) < 10
        ):
            time.sleep(0.01)
        os.kill(workers[0].pid, signal.SIGKILL)

    killer = threading.Thread(target=kill_half_way)
    killer.start()
    with distributed.Client(address, set_as_default=False) as client:
        client.wait_for_workers(2, timeout=90)
    report = run_batch(Order(pairs, out), lambda _: Cluster(work, address))
    killer.join()
    assert workers[0].wait(10) == -signal.SIGKILL
    assert report.counts == {"failed": 1, "needs-a-look": 0, "merged": 23, "left-out": 0}
    assert "told to fail" in report.outcomes["p23"].reason
    for pair in pairs[:23]:
        assert (out / f"{pair.name}.tif").read_bytes() == content(pair.name)


def test_no_scheduler_is_told_in_one_line(monkeypatch: pytest.MonkeyPatch) -> None:
    monkeypatch.setattr("blendkit.batch.cluster._CONNECT_S", 0.5)
    with pytest.raises(InputError, match="no scheduler answers"):
        list(Cluster(work, "tcp://127.0.0.1:1").run([]))
