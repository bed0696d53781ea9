"""`blendkit demo`: an invented pair with its truth, merged, measured and shown."""

from collections.abc import Iterator
from pathlib import Path
from typing import TYPE_CHECKING

import click

if TYPE_CHECKING:
    from blendkit.merge import Merged
    from blendkit.simulate import SimulatedPair

WIDTH_PX = 1200


@click.command("demo")
@click.argument("folder", metavar="DIR", type=click.Path(path_type=Path))
@click.option(
    "--width", "width_px", default=WIDTH_PX, show_default=True, metavar="PX",
    type=click.IntRange(300, 6000), help="width of the frames, 3:2",
)  # fmt: skip
@click.option("--seed", default=0, show_default=True, help="another seed grows other boughs")
@click.option("--exact-matte", is_flag=True, help="merge with the true matte instead of the mask")
def command(*, folder: Path, width_px: int, seed: int, exact_matte: bool) -> None:
    """Write an invented pair to DIR, merge it, and measure the result against its truth.

    A cellist at an orchard gate at dusk, bare apple boughs before her, poplars beyond: frames as
    16-bit TIFF with Exif, masks as a hand would paint them, the merge with all its layers, and
    look.png with everything side by side and at 100 %.
    """
    from blendkit.cli.demo_files import simulated, write_pair  # noqa: PLC0415 - keeps help quick
    from blendkit.cli.demo_look import look  # noqa: PLC0415
    from blendkit.cli.merge_run import Job, run_merge  # noqa: PLC0415
    from blendkit.files.atomic import make_folder  # noqa: PLC0415
    from blendkit.report.inputs import Given  # noqa: PLC0415

    make_folder(folder)
    click.echo("rendering the pair through its lens", err=True)
    pair = simulated((width_px, round(width_px * 2 / 3)), seed)
    files = write_pair(folder, pair, seed)
    given = Given(
        frames=(files["stopped"], files["wide"]),
        foreground_mask=None if exact_matte else files["painted"],
        matte=files["matte"] if exact_matte else None,
    )
    merged = run_merge(Job(given, folder / "merged.tif", layers=True))
    look(folder / "look.png", pair, merged)
    for line in measured(pair, merged):
        click.echo(line)
    click.echo(f"look at {folder / 'look.png'}")


def measured(pair: "SimulatedPair", merged: "Merged") -> Iterator[str]:
    """Give the lines that compare a result with the truth."""
    from blendkit.simulate.metrics import grid_rms_px, scores  # noqa: PLC0415 - keeps help quick

    truth, size = pair.truth, pair.background.size
    before, after = scores(pair.background.pixels, truth), scores(merged.pixels, truth)
    off = grid_rms_px(merged.alignment.matrix, truth.warp, size)
    yield "measured against the known truth:"
    yield f"  alignment off by {off:.2f} px (RMS over a grid of 9 x 9)"
    for where, name in (("halo", "halo of the blurred boughs"), ("whole", "whole picture")):
        yield f"  {name}: {before[where]:.1f} dB before, {after[where]:.1f} dB after"
