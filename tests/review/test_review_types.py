"""The page's scripts are typed: JSDoc, checked by the TypeScript compiler in its strict mode."""

import shutil
import subprocess
from pathlib import Path

import pytest

BROWSER = Path(__file__).parents[1] / "browser"


def compiler() -> list[str] | None:
    """Return the command of the TypeScript compiler; None if it is not installed."""
    local = BROWSER / "node_modules" / ".bin" / "tsc"
    if local.exists():
        return [str(local)]
    found = shutil.which("tsc")
    return [found] if found else None


def test_the_scripts_are_well_typed() -> None:
    command = compiler()
    if command is None:
        pytest.skip("tsc is not installed: npm install --prefix tests/browser")
    config = str(BROWSER / "tsconfig.json")
    done = subprocess.run([*command, "-p", config], capture_output=True, text=True, check=False)
    assert done.returncode == 0, done.stdout
