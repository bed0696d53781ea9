"""The server as a process: it ends at Ctrl-C, whatever it is doing."""

import json
import os
import shutil
import signal
import subprocess
import sys
import threading
import time
from collections.abc import Iterator
from http.client import HTTPConnection, HTTPException
from pathlib import Path

import pytest

pytest.importorskip("uvicorn", reason="blendkit[review] is not installed")

IMAGES = Path(__file__).parents[2] / "testimages"
# What a shell starts in the background ignores Ctrl-C, tests among it: undo that.
RUN = (
    "import signal; signal.signal(signal.SIGINT, signal.default_int_handler); "
    "from blendkit.cli.main import main; main()"
)


@pytest.fixture
def server(tmp_path: Path) -> Iterator[tuple[subprocess.Popen[str], str]]:
    """Return a running server on one pair, and its address."""
    for name in ("wide", "stopped"):
        shutil.copy(IMAGES / f"gate-{name}.tif", tmp_path / f"gate-{name}.tif")
    words = [sys.executable, "-c", RUN, "review", str(tmp_path), "--no-browser"]
    with subprocess.Popen(
        [*words, "--cache", str(tmp_path / "cache")],
        stdout=subprocess.PIPE, stderr=subprocess.PIPE, text=True,
    ) as process:  # fmt: skip
        assert process.stdout is not None
        yield process, process.stdout.readline().strip()
        process.kill()


def ended(process: subprocess.Popen[str]) -> str:
    """Send Ctrl-C; return what was said on standard error."""
    os.kill(process.pid, signal.SIGINT)
    _, told = process.communicate(timeout=30)
    assert process.returncode == 0, told
    return told


def test_ctrl_c_at_once(server: tuple[subprocess.Popen[str], str]) -> None:
    assert "Traceback" not in ended(server[0])


def test_ctrl_c_while_a_preview_is_worked_out(server: tuple[subprocess.Popen[str], str]) -> None:
    process, url = server
    port, token = url.removeprefix("http://127.0.0.1:").strip("/").split("/")

    def ask(method: str, what: str, body: str = "") -> bytes:
        connection = HTTPConnection("127.0.0.1", int(port), timeout=60)
        try:
            kind = {"Content-Type": "application/json"}
            connection.request(method, f"/{token}/{what}", body, kind)
            return connection.getresponse().read()
        except (OSError, HTTPException):
            return b""
        finally:
            connection.close()

    pair = json.loads(ask("GET", "pairs"))["pairs"][0]["id"]

    asking = threading.Thread(target=ask, args=("POST", f"pairs/{pair}/preview", "{}"))
    asking.start()
    time.sleep(0.7)
    assert asking.is_alive(), "the preview should still be under way"
    assert "Traceback" not in ended(process)
    asking.join(10)
