"""The files that go into a merge, read and put in order: for command line, batch and page alike."""

from collections.abc import Iterator, Sequence
from dataclasses import dataclass, field, replace
from pathlib import Path

from blendkit.errors import InputError
from blendkit.files import as_the_pair, prefer_raws, read_frame, read_mask
from blendkit.files.documents import read_json
from blendkit.files.there import same_file
from blendkit.frame import Float, Frame
from blendkit.hints import Hints
from blendkit.masks.strokes import Stroke, nearer_lines, rasterise, strokes_from
from blendkit.report.asked import RAW_COLOURS
from blendkit.report.document import Input
from blendkit.roles import as_named, decide_roles

PAINTED = ("foreground_mask", "background_mask", "matte", "strokes")


@dataclass(frozen=True, slots=True)
class Given:
    """The files of one merge: two frames in any order, or each by its role, and masks."""

    frames: tuple[Path, ...] = ()
    background: Path | None = None
    foreground: Path | None = None
    foreground_mask: Path | None = None
    background_mask: Path | None = None
    matte: Path | None = None
    strokes: Path | None = None
    clear: Path | None = None
    aligned: bool = False
    raw_colours: str = RAW_COLOURS

    def __post_init__(self) -> None:
        """Check that there are two frames, given one way."""
        named = [path for path in (self.background, self.foreground) if path is not None]
        if len(named) == 1 or (named and self.frames) or not (named or len(self.frames) == 2):
            raise InputError(
                "give two frames, as in A B, or both --background FILE and --foreground FILE; "
                f"there are {len(self.frames)} without and {len(named)} with a role"
            )
        first, second = self.both
        if same_file(first, second):
            raise InputError(f"{first}: is given as both frames; name the other frame of the pair")
        for path in (first, second):
            if self.clear and same_file(self.clear, path):
                raise InputError(
                    f"{self.clear}: is a frame of the pair; the clear frame is one more exposure, "
                    "with the foreground held aside"
                )

    @property
    def painted(self) -> tuple[Path, ...]:
        """Return the files that say where the foreground is."""
        named = (self.foreground_mask, self.background_mask, self.matte, self.strokes)
        return tuple(path for path in named if path is not None)

    @property
    def paths(self) -> list[Path]:
        """All files that are read."""
        painted = [getattr(self, name) for name in PAINTED]
        named = [self.background, self.foreground, self.clear, *painted]
        return [*self.frames, *(path for path in named if path is not None)]

    @property
    def both(self) -> tuple[Path, Path]:
        """The two frames, the background frame first if the roles are given."""
        if self.background is not None and self.foreground is not None:
            return self.background, self.foreground
        return self.frames[0], self.frames[1]


@dataclass(eq=False, slots=True)
class Pair:
    """A pair as the merge takes it, and where each file stands in the report.

    why: how the roles were found, a sentence.
    """

    background: Frame
    foreground: Frame
    hints: Hints = field(default_factory=Hints)
    inputs: tuple[Input, ...] = ()
    why: str = ""

    def hand_over(self) -> Frame:
        """Return the foreground frame, and keep only what is recorded of it.

        The merge lays it on the background frame early and lets go of it; who held on would keep
        a whole picture more in memory.
        """
        frame, self.foreground = self.foreground, self.foreground.recorded
        return frame


def read_pair(given: Given) -> Pair:
    """Read the frames, find their roles, read the masks.

    Raises
    ------
    InputError
        A file that cannot be used, sizes that differ, roles that stay open.
    """
    (first, second), swapped = prefer_raws(given.both)
    one, other = (read_frame(path, raw_colours=given.raw_colours) for path in (first, second))
    Hints().check(one, other)
    roles = decide_roles(one, other) if given.frames else as_named(one, other)
    if roles.background == 1:
        first, second, one, other = second, first, other, one
    foreground = _matched(second, other, one)
    strokes = read_strokes(given.strokes, one.size) if given.strokes else ()
    clear = None if given.clear is None else as_the_pair(given.clear, first)
    hints = Hints(
        foreground_mask=_painted(given.foreground_mask, one),
        background_mask=_mask(given.background_mask, one),
        matte=_mask(given.matte, one),
        clear=None if clear is None else read_frame(clear, match=one),
        aligned=given.aligned,
    )
    hints = with_strokes(hints, strokes, one.size)
    frames = (Input(first, "background", one), Input(second, "foreground", foreground.recorded))
    why = "; ".join((f"background frame: {one.name} ({roles.reason})", *swapped))
    return Pair(one, foreground, hints, (*frames, *_other_inputs(given, clear, hints.clear)), why)


def check_painted_at(size: tuple[int, int] | None, frame: Frame, name: str) -> None:
    """Raise InputError unless what a sidecar holds was painted on pictures of the frame's size.

    size : (width, height), px; None = nothing was painted.
    """
    if size is not None and size != frame.size:
        raise InputError(painted_at_another_size(size, frame.size, name))


def painted_at_another_size(painted: tuple[int, int], size: tuple[int, int], name: str) -> str:
    """Return a sentence on strokes painted on pictures of another (width, height), px."""
    return (
        f"{name}: its strokes were painted at {painted[0]} x {painted[1]} px and the background "
        f"frame has {size[0]} x {size[1]}: merge the frames that they were painted on, or move it "
        "away and paint anew"
    )


def read_strokes(path: Path, size: tuple[int, int]) -> tuple[Stroke, ...]:
    """Read a file of strokes that were painted over a frame of `size` (width, height), px.

    Raises
    ------
    InputError : missing, not JSON, or not strokes for this size.
    """
    document = read_json(path, what="JSON", cure="save the strokes again")
    return strokes_from(document, size=size, name=path.name)


def with_strokes(hints: Hints, strokes: Sequence[Stroke], size: tuple[int, int]) -> Hints:
    """Return hints with strokes, in px of the background frame, added."""
    if not strokes:
        return hints
    painted = rasterise(strokes, size)
    return replace(
        hints,
        front_strokes=painted.foreground,
        back_strokes=painted.background,
        nearer=nearer_lines(strokes),
    )


def _matched(path: Path, frame: Frame, background: Frame) -> Frame:
    """Return the foreground frame in the background frame's profile and white balance."""
    alike = (
        frame.embedded.icc_profile == background.embedded.icc_profile
        and frame.white_balance == background.white_balance
    )
    return frame if alike else read_frame(path, match=background)


def _mask(path: Path | None, background: Frame) -> Float | None:
    return None if path is None else read_mask(path, size=background.size)


def _painted(path: Path | None, background: Frame) -> Float | None:
    mask = _mask(path, background)
    if path is not None and mask is not None and not mask.any():
        raise InputError(
            f"{path.name}: nothing is painted in it: paint white over the boughs, or leave it out"
        )
    return mask


def _other_inputs(given: Given, clear: Path | None, frame: Frame | None) -> Iterator[Input]:
    if clear is not None:
        yield Input(clear, "clear", frame)
    for name in PAINTED:
        path = getattr(given, name)
        if path is not None:
            yield Input(path, name.replace("_", "-"))
