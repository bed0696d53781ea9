"""Every command line of README runs as it stands, one after the other, in one folder."""

import os
import re
import shlex
import shutil
import signal
import subprocess
import sys
from pathlib import Path

import pytest
from click.testing import CliRunner

from blendkit.cli.main import main

ROOT = Path(__file__).parents[2]
IMAGES = ROOT / "testimages"
RUN = [sys.executable, "-W", "error", "-c", "from blendkit.cli.main import main; main()"]
BLOCK = re.compile(r"^```(\w*)\n(.*?)^```$", flags=re.MULTILINE | re.DOTALL)


def lines() -> list[str]:
    """Return README's command lines but the two for a fresh machine, which are tested elsewhere."""
    text = (ROOT / "README.md").read_text(encoding="utf-8").replace("\\\n", " ")
    blocks = BLOCK.findall(text)
    found = [line for language, block in blocks if not language for line in block.splitlines()]
    return [" ".join(line.split()) for line in found if line.startswith("blendkit ")]


@pytest.fixture(scope="module")
def folder(tmp_path_factory: pytest.TempPathFactory) -> Path:
    """Return a folder with the files that the command lines name."""
    place = tmp_path_factory.mktemp("reader")
    (place / "shoot").mkdir()
    for name in ("wide", "stopped"):
        shutil.copy(IMAGES / f"gate-{name}.tif", place / f"{name}.tif")
        shutil.copy(IMAGES / f"gate-{name}.tif", place / "shoot" / f"{name}.tif")
    shutil.copy(IMAGES / "gate-stopped.tif", place / "middle.tif")
    shutil.copy(IMAGES / "gate-painted.png", place / "painted.png")
    return place


def test_there_is_something_to_run() -> None:
    assert {line.split()[1] for line in lines()} == {
        "merge", "plan", "pairs", "batch", "review", "repair", "deliver",
    }  # fmt: skip


def test_plan_answers_what_readme_prints() -> None:
    text = (ROOT / "README.md").read_text(encoding="utf-8").replace("\\\n", " ")
    blocks = [body for _, body in BLOCK.findall(text)]
    after = next(k for k, body in enumerate(blocks) if body.startswith("blendkit plan"))
    answer = blocks[after + 1].splitlines()
    assert len(answer) > 10
    done = CliRunner().invoke(main, shlex.split(blocks[after])[1:])
    said = done.stdout.splitlines()
    assert [line for line in answer if line not in said] == []


def test_the_command_lines_run_in_their_order(folder: Path) -> None:
    for line in lines():
        words = shlex.split(line)[1:]
        if words[0] == "review":
            assert reviewed(folder, words) == 0
            continue
        done = subprocess.run(
            [*RUN, *words], cwd=folder, capture_output=True, text=True, check=False, timeout=300
        )
        assert done.returncode == 0, f"{line}: {done.stdout}{done.stderr}"
    left = {path.name for path in folder.iterdir()}
    assert {"gate.tif", "gate.report.json", "gate.preview.jpg", "results", "lab"} <= left
    assert (folder / "shoot" / "pairs.toml").exists()
    assert (folder / "results" / "summary.html").exists()
    assert (folder / "lab" / "checksums.sha256").exists()


def reviewed(folder: Path, words: list[str]) -> int:
    """Open the page's server, see its address, end it by Ctrl-C; return its exit code."""
    pytest.importorskip("uvicorn", reason="blendkit[review] is not installed")
    # Ctrl-C is ignored in what a shell starts in the background, tests among it: undo that.
    heard = f"import signal; signal.signal(signal.SIGINT, signal.default_int_handler); {RUN[-1]}"
    with subprocess.Popen(
        [*RUN[:-1], heard, *words, "--no-browser"],
        cwd=folder, stdout=subprocess.PIPE, stderr=subprocess.PIPE, text=True,
    ) as server:  # fmt: skip
        assert server.stdout is not None
        assert server.stderr is not None
        address = server.stdout.readline()
        assert address.startswith("http://127.0.0.1:"), server.stderr.read()
        os.kill(server.pid, signal.SIGINT)
        return server.wait(30)
