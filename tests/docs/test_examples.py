"""Every example runs as it stands, and leaves what it says."""

import subprocess
import sys
from pathlib import Path

import pytest

EXAMPLES = sorted((Path(__file__).parents[2] / "examples").glob("*.py"))


@pytest.mark.parametrize("script", EXAMPLES, ids=lambda path: path.stem)
def test_example_runs(script: Path, tmp_path: Path) -> None:
    done = subprocess.run(
        [sys.executable, "-W", "error", str(script), str(tmp_path)],
        cwd=tmp_path,
        capture_output=True,
        text=True,
        check=False,
        timeout=300,
    )
    assert done.returncode == 0, done.stderr
    assert done.stdout.strip()
    assert list(tmp_path.iterdir()), "an example given a folder leaves something there"


def test_examples_are_numbered_without_doubles() -> None:
    numbers = [path.name.split("_")[0] for path in EXAMPLES]
    assert len(set(numbers)) == len(numbers)
    assert all(number.isdigit() and len(number) == 2 for number in numbers)
