"""Small pictures of a pair for the summary: before, after, and what was marked."""

import io
from pathlib import Path

from blendkit.files.atomic import atomic
from blendkit.frame import Frame
from blendkit.merge import Merged
from blendkit.report.labels import flag_labels, numbered
from blendkit.report.overlays import flags_picture, sources_picture
from blendkit.report.screen import Picture, on_screen

LONG_SIDE_PX = 520
_QUALITY = 82
KINDS = ("before", "after", "marked")


def thumb_path(records: Path, name: str, kind: str) -> Path:
    """Return where a pair's small picture lies; kind is one of KINDS."""
    return records / f"{name}.{kind}.jpg"


def write_thumbs(records: Path, name: str, merged: Merged, background: Frame) -> list[Path]:
    """Write a pair's small pictures and return their paths."""
    before, after = (
        on_screen(pixels, background, long_side_px=LONG_SIDE_PX)
        for pixels in (background.pixels, merged.pixels)
    )
    pictures = {"before": before, "after": after, "marked": _marked(after, merged)}
    paths = []
    for kind, picture in pictures.items():
        path = thumb_path(records, name, kind)
        with atomic(path) as temporary:
            temporary.write_bytes(jpeg(picture))
        paths.append(path)
    return paths


def _marked(after: Picture, merged: Merged) -> Picture:
    """Return the flags over the result, or where its pixels came from if there are none."""
    loud = [flag for flag in merged.flags if flag.severity != "note"]
    if not loud:
        return sources_picture(after, merged.sources)
    size = (merged.pixels.shape[1], merged.pixels.shape[0])
    severities = {number: flag.severity for number, flag in numbered(merged.flags)}
    return flags_picture(after, flag_labels(merged.flags, size), severities)


def jpeg(picture: Picture) -> bytes:
    """Return a screen picture as JPEG data."""
    from PIL import Image  # noqa: PLC0415 - heavy

    stream = io.BytesIO()
    Image.fromarray(picture).save(stream, "JPEG", quality=_QUALITY)
    return stream.getvalue()
