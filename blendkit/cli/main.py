"""The command line's entry: which commands there are, and how errors end.

A command's module is imported only when it runs, so that help is there at once.
"""

import io
import sys
from collections.abc import Sequence
from importlib import import_module
from importlib.util import find_spec
from typing import Any

import click

from blendkit import __version__
from blendkit.errors import (
    EXIT_BAD_INPUT,
    EXIT_INTERRUPTED,
    NO_MEMORY,
    BlendkitError,
    lacked_memory,
)

COMMANDS = {
    "merge": "Merge one pair into one picture.",
    "demo": "Write an invented pair, with its truth, to try things on.",
    "plan": "Tell which frames to take, before the shoot.",
    "deliver": "Write a result as the print lab wants it.",
    "pairs": "Find the pairs in a folder of frames.",
    "batch": "Merge a whole shoot.",
    "repair": "Repair what a merge has flagged.",
    "review": "Look at results in the browser, paint, decide.",
}
"""Commands in the order of help, each `blendkit.cli.<name>` with its object `command`."""


class LazyGroup(click.Group):
    """A group that knows its commands by name only, and turns a BlendkitError into one line."""

    def list_commands(self, ctx: click.Context) -> list[str]:  # noqa: ARG002 - click's signature
        """Return the commands whose module is installed."""
        return [name for name in COMMANDS if find_spec(f"blendkit.cli.{name}")]

    def get_command(self, ctx: click.Context, cmd_name: str) -> click.Command | None:
        """Import a command's module and return its command."""
        if cmd_name not in self.list_commands(ctx):
            return None
        command: click.Command = import_module(f"blendkit.cli.{cmd_name}").command
        return command

    def format_commands(self, ctx: click.Context, formatter: click.HelpFormatter) -> None:
        """Write the commands with the sentences above, importing none of them."""
        rows = [(name, COMMANDS[name]) for name in self.list_commands(ctx)]
        if rows:
            with formatter.section("Commands"):
                formatter.write_dl(rows)

    def invoke(self, ctx: click.Context) -> Any:
        """Run a command; Ctrl-C ends it in one line, with the shell's exit code for it."""
        try:
            return super().invoke(ctx)
        except KeyboardInterrupt:
            click.echo("blendkit: stopped by Ctrl-C", err=True)
            ctx.exit(EXIT_INTERRUPTED)

    def main(self, args: Sequence[str] | None = None, *more: Any, **extra: Any) -> Any:
        """Run, and end a BlendkitError with its one line and its exit code."""
        # A file name need not be UTF-8; what was written must be told all the same.
        if isinstance(sys.stdout, io.TextIOWrapper) and sys.stdout.errors == "strict":
            sys.stdout.reconfigure(errors="backslashreplace")
        try:
            return super().main(args, *more, **extra)
        except BlendkitError as error:
            click.echo("blendkit: " + " ".join(str(error).split()), err=True)
            sys.exit(error.exit_code)
        except Exception as error:
            if not lacked_memory(error):
                raise
            click.echo("blendkit: " + NO_MEMORY, err=True)
            sys.exit(EXIT_BAD_INPUT)


@click.group(cls=LazyGroup, context_settings={"help_option_names": ["-h", "--help"]})
@click.version_option(__version__, prog_name="blendkit")
def main() -> None:
    """Make one picture from a pair taken at two apertures or two focus distances.

    Exit codes: 0 done (look at the flags), 2 bad input or usage, 3 the frames cannot be aligned,
    4 some pairs of a batch failed, 130 stopped by Ctrl-C.
    """
