"""Progress of a merge: a bar on a terminal, plain lines elsewhere, always on standard error."""

import sys
from collections.abc import Iterator
from contextlib import contextmanager

import click

from blendkit.frame import Progress

_STEPS = 1000


@contextmanager
def shown_progress(label: str) -> Iterator[Progress]:
    """Give a progress callable that shows what runs.

    Parameters
    ----------
    label : what is being done, such as "merging gate.tif".
    """
    if not sys.stderr.isatty():
        click.echo(label, err=True)
        yield _line
        return
    with click.progressbar(
        length=_STEPS,
        label=label,
        file=sys.stderr,
        item_show_func=lambda stage: stage or "",
    ) as bar:

        def step(stage: str, share: float, /) -> None:
            bar.update(max(round(share * _STEPS) - bar.pos, 0), stage)

        yield step
        bar.update(_STEPS - bar.pos, "done")


def _line(stage: str, share: float, /) -> None:
    click.echo(f"  {share:4.0%}  {stage}", err=True)
