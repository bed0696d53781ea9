"""The command group: quick help, one-line errors, exit codes."""

import os
import resource
import signal
import subprocess
import sys
from collections.abc import Callable

import click
import imagecodecs
import pytest
from click.testing import CliRunner

from blendkit import __version__
from blendkit.cli import main as entry
from blendkit.cli.main import main
from blendkit.errors import AlignmentError, InputError


def run_python(code: str) -> subprocess.CompletedProcess[str]:
    return subprocess.run(
        [sys.executable, "-c", code], capture_output=True, text=True, check=False, timeout=60
    )


def test_help_loads_no_numerical_library_and_is_quick() -> None:
    code = (
        "import sys\nfrom blendkit.cli.main import main\n"
        "try: main(['--help'])\nexcept SystemExit: pass\n"
        "print({'numpy', 'cv2', 'scipy', 'PIL'} & set(sys.modules))"
    )
    times = []
    for _ in range(3):
        before = processor_time_s()
        done = run_python(code)
        times.append(processor_time_s() - before)
    assert done.stdout.splitlines()[-1] == "set()"
    # 0.1 s on an idle machine; what a busy one lets it wait does not count
    assert min(times) < 0.3


def processor_time_s() -> float:
    used = resource.getrusage(resource.RUSAGE_CHILDREN)
    return used.ru_utime + used.ru_stime


def test_help_lists_only_commands_that_exist() -> None:
    listed = CliRunner().invoke(main, ["--help"]).output
    assert "plan" in listed
    context = click.Context(main)
    for name in entry.COMMANDS:
        assert (main.get_command(context, name) is not None) == (f"\n  {name} " in listed)


def test_version() -> None:
    assert CliRunner().invoke(main, ["--version"]).output == f"blendkit, version {__version__}\n"


def test_the_package_runs_as_a_module_too() -> None:
    command = [sys.executable, "-m", "blendkit", "--version"]
    done = subprocess.run(command, capture_output=True, text=True, check=True, timeout=60)
    assert done.stdout == f"blendkit, version {__version__}\n"


def test_unknown_command_is_a_usage_error() -> None:
    done = CliRunner().invoke(main, ["enlarge"])
    assert done.exit_code == 2
    assert "No such command 'enlarge'" in done.output


@pytest.mark.parametrize(
    ("error", "code"), [(InputError("a\nb"), 2), (AlignmentError("no zone in focus"), 3)]
)
def test_errors_raised_on_purpose_are_one_line(
    monkeypatch: pytest.MonkeyPatch, error: Exception, code: int
) -> None:
    def fail() -> None:
        raise error

    failing = click.Command("plan", callback=fail)
    monkeypatch.setattr(entry.LazyGroup, "get_command", lambda *_: failing)
    done = CliRunner().invoke(main, ["plan"])
    assert done.exit_code == code
    assert done.stdout == ""
    assert done.stderr == f"blendkit: {' '.join(str(error).split())}\n"


def no_room_for_a_codec() -> None:
    raise imagecodecs.DelayedImportError("png_encode")  # what is raised when loading it failed


def no_room_for_a_thread() -> None:
    raise RuntimeError("can't start new thread")


def no_room_for_an_array() -> None:
    raise ValueError("a library's own words") from MemoryError()


@pytest.mark.parametrize("fail", [no_room_for_a_codec, no_room_for_a_thread, no_room_for_an_array])
def test_libraries_without_memory_end_in_one_line(
    monkeypatch: pytest.MonkeyPatch, fail: Callable[[], None]
) -> None:
    failing = click.Command("plan", callback=fail)
    monkeypatch.setattr(entry.LazyGroup, "get_command", lambda *_: failing)
    done = CliRunner().invoke(main, ["plan"])
    assert done.exit_code == 2
    assert done.stderr.startswith("blendkit: the memory did not suffice: ")
    assert done.stderr.count("\n") == 1


def test_ctrl_c_ends_in_one_line_with_the_shells_code_for_it(
    monkeypatch: pytest.MonkeyPatch,
) -> None:
    def broken_off() -> None:
        raise KeyboardInterrupt

    failing = click.Command("plan", callback=broken_off)
    monkeypatch.setattr(entry.LazyGroup, "get_command", lambda *_: failing)
    done = CliRunner().invoke(main, ["plan"])
    assert done.exit_code == 128 + signal.SIGINT
    assert done.stderr == "blendkit: stopped by Ctrl-C\n"


def test_defects_are_not_swallowed(monkeypatch: pytest.MonkeyPatch) -> None:
    def fail() -> None:
        raise ZeroDivisionError

    monkeypatch.setattr(
        entry.LazyGroup, "get_command", lambda *_: click.Command("plan", callback=fail)
    )
    assert isinstance(CliRunner().invoke(main, ["plan"]).exception, ZeroDivisionError)


@pytest.mark.skipif(sys.platform == "win32", reason="names there are text")
def test_a_name_that_is_not_utf_8_is_told_as_it_can_be() -> None:
    code = (
        "import os, click\nfrom blendkit.cli import main as entry\n"
        "entry.LazyGroup.get_command = lambda *_: click.Command('plan', "
        "callback=lambda: click.echo(os.fsdecode(b'B\\xe4ume.tif')))\n"
        "entry.main(['plan'])"
    )
    done = subprocess.run(
        [sys.executable, "-c", code],
        capture_output=True,
        check=False,
        env=os.environ | {"PYTHONIOENCODING": "utf-8:strict"},
    )
    assert (done.returncode, done.stdout) == (0, b"B\\udce4ume.tif\n"), done.stderr
