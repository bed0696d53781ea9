"""`blendkit review`: look at results in the browser, paint, decide."""

from importlib.util import find_spec
from pathlib import Path

import click

from blendkit.errors import InputError


@click.command("review")
@click.argument("folder", metavar="DIR", type=click.Path(path_type=Path))
@click.argument("frames", metavar="[FRAMES]...", nargs=-1, type=click.Path(path_type=Path))
@click.option("--port", type=click.IntRange(0, 65535), default=0, help="port; 0 picks a free one")
@click.option("--no-browser", is_flag=True, help="only print the address")
@click.option("--cache", type=click.Path(path_type=Path), help="where screen versions are kept")
def command(
    *, folder: Path, frames: tuple[Path, ...], port: int, no_browser: bool, cache: Path | None
) -> None:
    """Open a page on the pairs and results in DIR.

    FRAMES are further folders that hold the frames of these results.  The first line of standard
    output is the page's address; it works on this machine only.  Ctrl-C ends; everything is saved
    as you go.
    """
    if find_spec("starlette") is None or find_spec("uvicorn") is None:
        raise InputError("the page needs starlette and uvicorn; install blendkit[review]")
    from blendkit.review.folder import not_shown  # noqa: PLC0415 - quick help
    from blendkit.review.serve import Server, open_browser  # noqa: PLC0415
    from blendkit.review.session import Session  # noqa: PLC0415

    for sentence in not_shown(folder, frames=frames):
        click.echo(sentence, err=True)
    server = Server(Session(folder, frames=frames, cache=cache), port=port)

    def ready(url: str) -> None:
        click.echo(url)
        click.echo("the page is open until Ctrl-C", err=True)
        if not no_browser:
            open_browser(url)

    server.run(ready)
