"""README keeps its word: its commands exist, its options too, and .ci/run runs what it says."""

import re
import shlex
import subprocess
from pathlib import Path

import click
import pytest
from click.testing import CliRunner

from blendkit.cli.main import main

ROOT = Path(__file__).parents[2]
README = (ROOT / "README.md").read_text(encoding="utf-8")
DEVELOPERS = (ROOT / "DEVELOPERS.md").read_text(encoding="utf-8")
TRAINING = (ROOT / "tests/bench/matte_training/README.md").read_text(encoding="utf-8")
ALLOWED = {
    *("pyproject.toml", "README.md", "DEVELOPERS.md", "LICENSE"),
    *("blendkit", "tests", "testimages", "examples"),
}


def blocks(text: str, language: str = "") -> list[str]:
    found = re.findall(r"^```([a-z]*)\n(.*?)^```$", text, flags=re.MULTILINE | re.DOTALL)
    return [body.strip() for kind, body in found if not language or kind == language]


def command_lines(text: str) -> list[list[str]]:
    """Return the words of every line in a code block that calls blendkit."""
    joined = "\n".join(blocks(text)).replace("\\\n", " ")
    lines = [part for line in joined.splitlines() for part in line.split(" && ")]
    return [
        words[1:]
        for words in (shlex.split(line) for line in lines if "blendkit" in line)
        if words and Path(words[0]).name == "blendkit"
    ]


def commands() -> list[str]:
    return main.list_commands(click.Context(main))


def test_readme_opens_with_who_what_and_for_whom() -> None:
    title, paragraph = README.split("\n\n")[:2]
    assert title == "# blendkit"
    assert "photographer" in paragraph
    assert "veil" in paragraph


def test_there_are_exactly_two_commands_for_a_fresh_machine() -> None:
    demo, check = blocks(README, "bash")
    assert demo.count("\n") == check.count("\n") == 0
    assert "python3 -m venv" in demo
    assert demo.endswith("blendkit demo demo")
    assert "python3 -m venv" in check
    assert check.endswith("pytest")


def test_ci_runs_the_second_command_word_for_word() -> None:
    script = (ROOT / ".ci" / "run").read_text(encoding="utf-8")
    assert script.splitlines()[-1] == blocks(README, "bash")[1]
    assert script.startswith("#!/usr/bin/env bash\n")
    assert "set -euo pipefail" in script
    assert (ROOT / ".ci" / "run").stat().st_mode & 0o100
    subprocess.run(["bash", "-n", str(ROOT / ".ci" / "run")], check=True)  # noqa: S607


def test_readme_names_the_system_libraries_that_opencv_needs() -> None:
    for package in ("libgl1", "libglib2.0-0"):
        assert package in README
        assert package in (ROOT / ".ci" / "run").read_text(encoding="utf-8")


@pytest.mark.parametrize("name", commands())
def test_every_command_is_documented_and_helps(name: str) -> None:
    assert re.search(rf"blendkit {name}\b", README), f"README does not show blendkit {name}"
    done = CliRunner().invoke(main, [name, "--help"])
    assert done.exit_code == 0
    assert done.output.startswith("Usage:")


def test_command_lines_in_the_texts_use_what_there_is() -> None:
    lines = command_lines(README) + command_lines(DEVELOPERS)
    assert len(lines) >= 4
    for name, *words in lines:
        command = main.get_command(click.Context(main), name)
        assert command is not None, f"{name} is no command"
        known = {flag for item in command.params for flag in (*item.opts, *item.secondary_opts)}
        unknown = {word.split("=")[0] for word in words if word.startswith("-")} - known
        assert not unknown, f"{name} has no {unknown}"


def test_options_in_the_table_of_merge_are_its_options() -> None:
    command = main.get_command(click.Context(main), "merge")
    assert command is not None
    known = {flag for item in command.params for flag in item.opts}
    rows = [line for line in README.splitlines() if line.startswith("| `--")]
    shown = {flag for row in rows for flag in re.findall(r"--[a-z-]+", row.split("|")[1])}
    assert len(shown) > 8
    assert shown <= known


def tracked() -> list[str]:
    """Return the files that belong to the project, from its root; skips where that is not known."""
    done = subprocess.run(
        ["git", "ls-files"],  # noqa: S607
        cwd=ROOT, capture_output=True, text=True, check=False,
    )  # fmt: skip
    if done.returncode or not done.stdout:
        pytest.skip("not a git clone: what belongs to the project cannot be told from the rest")
    return done.stdout.splitlines()


def test_top_level_holds_nothing_else() -> None:
    tops = {line.split("/")[0] for line in tracked()}
    assert {top for top in tops if not top.startswith(".")} == ALLOWED


@pytest.mark.parametrize(
    "text", [README, DEVELOPERS, TRAINING], ids=["README", "DEVELOPERS", "training"]
)
def test_files_that_the_texts_name_exist(text: str) -> None:
    named = set(re.findall(r"`((?:tests|examples|blendkit|\.ci)/[\w./]*\w)`", text))
    assert {name for name in named if not (ROOT / name).exists()} == set()
    # Modules of a package and networks are also named without the folders that they lie in.
    alone = set(re.findall(r"`([\w/]+\.(?:py|onnx))`", text))
    files = [f"/{line}" for line in tracked()]
    ends = {name for name in alone if any(one.endswith(f"/{name}") for one in files)}
    assert alone - ends == set()
