"""A merge at screen size that follows the brush; of several requests only the newest counts."""

import threading
from collections.abc import Callable, Mapping
from dataclasses import dataclass, field, replace
from pathlib import Path

import numpy as np

from blendkit.errors import AlignmentError
from blendkit.files import profiles, read_mask
from blendkit.files.curves import SRGB
from blendkit.files.encode import encoded
from blendkit.filters.resample import coordinate_at_scale, reduce_by
from blendkit.frame import Capture, Float, Frame, Label, Progress
from blendkit.hints import Hints, NearerLine
from blendkit.masks.strokes import Stroke, nearer_lines, rasterise
from blendkit.merge import Merged, merge_pair
from blendkit.report.reduced import settings_at
from blendkit.review.pyramid import Pyramid, count_levels, level_size
from blendkit.review.repaint import Ready, prepare, repaint
from blendkit.review.work import CURE
from blendkit.settings import ApertureSettings, MergeSettings
from blendkit.sidecar import Tie

_PATIENCE_S = 0.1
"""How often somebody who waits for a preview asks whether a newer one is wanted."""
SCREEN_MP = 2.9
"""Most megapixels of a preview: level 2 of 45 MP."""


class Superseded(Exception):  # noqa: N818 - no failure: a newer request took over
    """A newer request made this one pointless."""


@dataclass(frozen=True, eq=False, slots=True)
class Small:
    """Both frames and the masks of a pair at screen size.

    full_size: (width, height) of the background frame, px.
    masks: what was painted elsewhere and given as files, by name.
    aligned: whether the frames lie on each other already.
    """

    background: Frame
    foreground: Frame
    level: int
    full_size: tuple[int, int]
    masks: Mapping[str, Float] = field(default_factory=dict)
    aligned: bool = False

    def hints(self, strokes: tuple[Stroke, ...], ties: tuple[Tie, ...]) -> Hints:
        """Return what was painted and tied, at this size."""
        scale = 0.5**self.level
        masks = rasterise(strokes, self.background.size, scale=scale)
        places = tuple((_smaller(one, scale), _smaller(other, scale)) for one, other in ties)
        return Hints(
            foreground_mask=self.masks.get("foreground_mask"),
            background_mask=self.masks.get("background_mask"),
            matte=self.masks.get("matte"),
            front_strokes=masks.foreground,
            back_strokes=masks.background,
            aligned=self.aligned,
            ties=places,
            nearer=self.nearer(strokes),
        )

    def nearer(self, strokes: tuple[Stroke, ...]) -> tuple[NearerLine, ...]:
        """Return the lines over surfaces, at this size."""
        return nearer_lines(strokes, scale=0.5**self.level)


def _smaller(place: tuple[float, float], scale: float) -> tuple[float, float]:
    return coordinate_at_scale(place[0], scale), coordinate_at_scale(place[1], scale)


def screen_level(size: tuple[int, int]) -> int:
    """Return the first level of a picture that is small enough for a preview.

    >>> screen_level((8192, 5464)), screen_level((1500, 1000))
    (2, 0)
    """
    for level in range(count_levels(size)):
        width, height = level_size(size, level)
        if width * height <= SCREEN_MP * 1e6:
            return level
    return count_levels(size) - 1


def small_frames(
    background: Pyramid,
    foreground: Pyramid,
    captures: tuple[Capture, Capture],
    names: tuple[str, str],
    *,
    masks: Mapping[str, Path],
    aligned: bool = False,
) -> Small:
    """Return a pair at screen size, in linear light, from what the screen shows of its frames."""
    level = screen_level(background.size)
    return Small(
        Frame(_linear(background, level), captures[0], names[0], bits=8),
        Frame(_linear(foreground, level), captures[1], names[1], bits=8),
        level=level,
        full_size=background.size,
        masks={
            name: reduce_by(read_mask(path, size=background.size), 2**level)
            for name, path in masks.items()
        },
        aligned=aligned,
    )


def _linear(pyramid: Pyramid, level: int) -> Float:
    level = min(level, pyramid.levels - 1)
    width, height = level_size(pyramid.size, level)
    codes = pyramid.window(level, (0, 0, width, height))
    return np.asarray(SRGB.table(255).take(codes), np.float32)


@dataclass(frozen=True, eq=False, slots=True)
class Shown:
    """Pictures of a preview: sRGB, uint8 (height, width, 3)."""

    result: Label
    plate: Label
    matte: Label


class Previewer:
    """Keeps the small merge of one pair and brings it up to date with what was painted.

    load: gives the frames at screen size.
    """

    def __init__(self, load: Callable[[], Small]) -> None:
        self._load = load
        self._work = threading.Lock()
        self._guard = threading.Lock()
        self._newest = 0
        self._wanted: MergeSettings | None = None
        self._small: Small | None = None
        self._ready: Ready | None = None
        self._now: Merged | None = None
        self._made_with: tuple[object, ...] = ()

    def update(
        self, strokes: tuple[Stroke, ...], ties: tuple[Tie, ...], settings: MergeSettings
    ) -> Shown:
        """Return the preview for strokes, ties and settings.

        Raises
        ------
        Superseded : another request came in meanwhile.
        BlendkitError : the pair cannot be merged.
        """
        with self._guard:
            self._newest += 1
            turn, self._wanted = self._newest, settings
        while not self._work.acquire(timeout=_PATIENCE_S):
            # Each that waits holds one of the server's threads: a newer one sends it away.
            self._check(turn)
        try:
            self._check(turn)
            return _shown(self._merged(strokes, ties, settings, turn))
        finally:
            self._work.release()

    def current(
        self, strokes: tuple[Stroke, ...], ties: tuple[Tie, ...], settings: MergeSettings
    ) -> Merged:
        """Return the small merge of these, made now if need be; no preview is given up for it.

        Raises
        ------
        Superseded : a request came in meanwhile.
        BlendkitError : the pair cannot be merged.
        """
        with self._guard:
            turn, self._wanted = self._newest, settings
        with self._work:
            return self._merged(strokes, ties, settings, turn)

    def merged(self) -> Merged | None:
        """Return the small merge as it is; None before the first."""
        return self._now

    def small(self) -> Small:
        """Return the frames at screen size."""
        self._small = self._small or self._load()
        return self._small

    def stop(self) -> None:
        """Give up what is being worked out: nobody waits for it any more."""
        with self._guard:
            self._newest += 1
            self._wanted = None

    def drop(self) -> None:
        """Let go of the arrays; the next request makes them again."""
        with self._work:
            self._small = self._ready = self._now = None

    def _check_settings(self, settings: MergeSettings) -> None:
        if settings != self._wanted:
            raise Superseded

    def _check(self, turn: int) -> None:
        if turn != self._newest:
            raise Superseded

    def _merged(
        self,
        strokes: tuple[Stroke, ...],
        ties: tuple[Tie, ...],
        settings: MergeSettings,
        turn: int,
    ) -> Merged:
        self._small = self._small or self._load()
        hints = self._small.hints(strokes, ties)
        wanted: tuple[object, ...] = (ties, settings)
        if settings.aperture != ApertureSettings():
            # Another f-number changes the whole picture after the strokes have chosen.
            wanted = (strokes, *wanted)
            if self._now is None or self._made_with != wanted:
                self._now = self._merge(hints, settings, lambda *_: self._check(turn))
                self._ready, self._made_with = None, wanted
            return self._now
        if self._ready is None or self._made_with != wanted:
            self._prepare(hints, settings)
            self._made_with = wanted
        assert self._ready is not None  # noqa: S101 - just made
        self._now = repaint(
            self._ready, self._now or self._ready.merged, hints, lambda: self._check(turn)
        )
        return self._now

    def _prepare(self, hints: Hints, settings: MergeSettings) -> None:
        """Merge the small frames without strokes."""
        assert self._small is not None  # noqa: S101 - loaded before
        bare = replace(hints, front_strokes=None, back_strokes=None)
        # A stroke does not change what is prepared, so only another setting ends it.
        merged = self._merge(bare, settings, lambda *_: self._check_settings(settings))
        self._ready = prepare((self._small.background, self._small.foreground), merged, bare)
        self._now = None

    def _merge(self, hints: Hints, settings: MergeSettings, progress: Progress) -> Merged:
        assert self._small is not None  # noqa: S101 - loaded before
        try:
            return merge_pair(
                self._small.background,
                self._small.foreground,
                hints=hints,
                settings=settings_at(0.5**self._small.level, settings),
                progress=progress,
            )
        except AlignmentError as error:
            raise AlignmentError(error.with_cure(CURE)) from error


def _shown(merged: Merged) -> Shown:
    matte = np.rint(np.clip(merged.matte.alpha, 0, 1) * 255).astype(np.uint8)
    return Shown(
        result=display(merged.pixels),
        plate=display(merged.plate.pixels),
        matte=np.repeat(matte[..., None], 3, axis=2),
    )


def display(pixels: Float) -> Label:
    """Return linear pixels of sRGB as a screen shows them, uint8 (height, width, 3)."""
    return np.asarray(encoded(pixels, profiles.srgb(), 8), np.uint8)
