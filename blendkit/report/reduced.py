"""Settings for a merge at screen size."""

from dataclasses import replace

from blendkit.settings import MergeSettings

_ALIGNED_PX = 800
"""Long side at which frames are laid on each other: a tenth of a px there is not seen on a screen,
and twice the size takes three times as long."""


def settings_at(scale: float, settings: MergeSettings) -> MergeSettings:
    """Return the settings for a picture reduced to `scale`: lengths in its px shrink with it."""
    disc = settings.discs.disc_px
    finest = min(settings.alignment.finest_size_px, _ALIGNED_PX)
    return replace(
        settings,
        alignment=replace(settings.alignment, finest_size_px=finest),
        discs=replace(settings.discs, disc_px=None if disc is None else max(disc * scale, 1.0)),
        matte=replace(settings.matte, edge_px=max(settings.matte.edge_px * scale, 1.0)),
    )
