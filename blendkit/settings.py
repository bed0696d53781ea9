"""The settings of every stage: one frozen dataclass each.

Help, unit and range live in each field's metadata.  The command line and the review page are
generated from them, so that a setting is described once.
"""

from dataclasses import Field, dataclass, field, fields
from typing import Any

from blendkit.errors import InputError


def option(
    default: Any,
    help: str,  # noqa: A002 - the word a reader of the command line expects
    *,
    unit: str = "",
    low: float | None = None,
    high: float | None = None,
    choices: tuple[str, ...] = (),
) -> Any:
    """Declare one setting with its help sentence, unit and inclusive range."""
    meta = {"help": help, "unit": unit, "low": low, "high": high, "choices": choices}
    return field(default=default, metadata=meta)


def check(settings: Any) -> None:
    """Raise InputError for the first field of a settings dataclass outside its range."""
    for item in fields(settings):
        value = getattr(settings, item.name)
        if value is not None:
            _check_one(item, value)


def _check_one(item: Field[Any], value: Any) -> None:
    low, high = item.metadata.get("low"), item.metadata.get("high")
    choices = item.metadata.get("choices")
    if choices and value not in choices:
        raise InputError(f"{item.name} = {value!r}: choose one of {', '.join(choices)}")
    too_low = low is not None and not value >= low
    too_high = high is not None and not value <= high
    if too_low or too_high:
        span = f"{low if low is not None else '-inf'} to {high if high is not None else 'inf'}"
        unit = item.metadata["unit"]
        named = "" if unit in ("", "share") else f" {unit}"  # a share is a plain number
        raise InputError(f"{item.name} = {value}: allowed is {span}{named}")


@dataclass(frozen=True, slots=True)
class ViewingSettings:
    """The print that the result is judged on: it decides how loud a flag is."""

    print_width_cm: float = option(60.0, "width of the print", unit="cm", low=1, high=1000)
    print_height_cm: float = option(40.0, "height of the print", unit="cm", low=1, high=1000)
    viewing_cm: float = option(50.0, "distance it is looked at from", unit="cm", low=5, high=5000)

    def __post_init__(self) -> None:
        """Check the ranges."""
        check(self)


@dataclass(frozen=True, slots=True)
class AlignmentSettings:
    """How the foreground frame is laid on the background frame."""

    model: str = option(
        "auto",
        "motion between the frames; auto takes the simplest that the evidence supports",
        choices=("auto", "translation", "similarity", "affine", "homography"),
    )
    rotation_range_deg: float = option(
        3.0, "rotation searched, to both sides", unit="deg", low=0, high=10
    )
    scale_range: float = option(
        0.06, "change of magnification searched", unit="share", low=0, high=0.2
    )
    shift_range: float = option(
        0.12, "shift searched, of the long side", unit="share", low=0.01, high=0.4
    )
    coarse_size_px: int = option(
        256, "long side of the coarse search", unit="px", low=96, high=1024
    )
    finest_size_px: int = option(
        2000, "long side of the finest fit", unit="px", low=256, high=20000
    )
    largest_relative_disc_px: float = option(
        20.0, "largest blur difference fitted, at the size worked at", unit="px", low=0, high=40
    )
    least_confidence: float = option(0.5, "below this the merge stops", unit="share", low=0, high=1)

    def __post_init__(self) -> None:
        """Check the ranges."""
        check(self)


@dataclass(frozen=True, slots=True)
class LightSettings:
    """How the foreground frame is brought into the background frame's light."""

    window_share: float = option(
        0.02,
        "Gaussian window of the comparison, of the long side",
        unit="share",
        low=0.005,
        high=0.2,
    )
    follow_local: bool = option(
        default=False, help="follow a smooth difference of light, as from a cloud's shadow"
    )

    def __post_init__(self) -> None:
        """Check the ranges."""
        check(self)


@dataclass(frozen=True, slots=True)
class SharpnessSettings:
    """How the two frames' sharpness is compared."""

    working_size_px: int = option(600, "long side of the comparison", unit="px", low=100, high=4000)
    largest_disc_share: float = option(
        0.12, "largest disc tried, of the long side", unit="share", low=0.01, high=0.5
    )
    window_share: float = option(
        0.02,
        "reach of the comparison's window, of the long side",
        unit="share",
        low=0.005,
        high=0.2,
    )

    def __post_init__(self) -> None:
        """Check the ranges."""
        check(self)


@dataclass(frozen=True, slots=True)
class PlateSettings:
    """How the veil is taken out of the background frame."""

    veil_error: float = option(
        0.06, "expected error of the veil, of its own contrast", unit="share", low=0, high=1
    )
    rerender_error: float = option(
        0.05, "expected error of a re-rendered plate, of its light", unit="share", low=0, high=1
    )
    least_clear: float = option(
        0.15,
        "background that must show through before division is used",
        unit="share",
        low=0.02,
        high=0.9,
    )

    def __post_init__(self) -> None:
        """Check the ranges."""
        check(self)


@dataclass(frozen=True, slots=True)
class DiscSettings:
    """How the foreground's blur disc in the background frame is found."""

    disc_px: float | None = option(
        None, "the foreground's disc in the background frame, if known", unit="px", low=1, high=2000
    )
    largest_disc_share: float = option(
        0.25, "largest disc tried, of the long side", unit="share", low=0.02, high=0.5
    )
    largest_shift_share: float = option(
        0.01,
        "first step of the search for displaced boughs, of the long side",
        unit="share",
        low=0,
        high=0.1,
    )
    split_gain: float = option(
        0.06, "drop of the residual that two discs must bring over one", unit="share", low=0, high=1
    )
    working_size_px: int = option(320, "long side of the search", unit="px", low=100, high=3000)
    slow_share: float = option(
        1 / 24,
        "changes of light wider than this are no veil's, of the long side",
        unit="share",
        low=0.01,
        high=1,
    )

    def __post_init__(self) -> None:
        """Check the ranges."""
        check(self)


@dataclass(frozen=True, slots=True)
class MatteSettings:
    """How the foreground's coverage is found."""

    hold: float = option(
        5.0, "how firmly the network's proposal is held against the closed form", low=0, high=100
    )
    edge_px: float = option(
        2.0, "rim around the proposal that stays open", unit="px", low=0, high=20
    )

    def __post_init__(self) -> None:
        """Check the ranges."""
        check(self)


@dataclass(frozen=True, slots=True)
class GrainSettings:
    """How the grain of pasted and re-rendered regions is matched."""

    match: bool = option(True, "bring their grain to the background frame's")
    seed: int = option(1, "seed of the grain that is added", low=0, high=2**31)

    def __post_init__(self) -> None:
        """Check the ranges."""
        check(self)


@dataclass(frozen=True, slots=True)
class ApertureSettings:
    """F-numbers between the frames' at which a zone is rendered; None = as it was taken."""

    foreground_f: float | None = option(
        None, "render the foreground as at this f-number, between the frames'", low=0.5, high=128
    )
    background_f: float | None = option(
        None, "render the background as at this f-number, between the frames'", low=0.5, high=128
    )

    def __post_init__(self) -> None:
        """Check the ranges."""
        check(self)


@dataclass(frozen=True, slots=True)
class MergeSettings:
    """All settings of a merge, stage by stage."""

    alignment: AlignmentSettings = field(default_factory=AlignmentSettings)
    light: LightSettings = field(default_factory=LightSettings)
    sharpness: SharpnessSettings = field(default_factory=SharpnessSettings)
    matte: MatteSettings = field(default_factory=MatteSettings)
    discs: DiscSettings = field(default_factory=DiscSettings)
    plate: PlateSettings = field(default_factory=PlateSettings)
    grain: GrainSettings = field(default_factory=GrainSettings)
    aperture: ApertureSettings = field(default_factory=ApertureSettings)
    viewing: ViewingSettings = field(default_factory=ViewingSettings)


@dataclass(frozen=True, slots=True)
class DeliverySettings:
    """How a result is written for the print lab."""

    print_width_cm: float | None = option(None, "width of the print", unit="cm", low=1, high=1000)
    print_height_cm: float | None = option(None, "height of the print", unit="cm", low=1, high=1000)
    dpi: float = option(300.0, "resolution of the print", unit="dpi", low=20, high=4800)
    long_edge_px: int | None = option(
        None, "long edge, where no print size is given", unit="px", low=16, high=100_000
    )
    enlarge: bool = option(default=False, help="enlarge a picture that is too small for the size")
    fit: str = option(
        "border",
        "other aspect ratio: a border all around, or a crop that fills the print",
        choices=("border", "crop"),
    )
    trim: bool = option(
        default=False, help="cut off the rim that only the background frame reaches"
    )
    border: str = option("white", "colour of the border", choices=("white", "black", "grey"))
    profile: str = option("srgb", "output profile: srgb, oprgb, wide, keep, or an ICC file")
    intent: str = option(
        "relative",
        "rendering intent",
        choices=("perceptual", "relative", "saturation", "absolute"),
    )
    black_point_compensation: bool = option(
        default=True, help="take the darkest tone to the darkest of the print"
    )
    format: str = option("jpeg", "kind of file", choices=("jpeg", "tiff"))
    bits: int = option(8, "bits a channel of a TIFF, 8 or 16", unit="bits", low=8, high=16)
    quality: int = option(95, "quality of a JPEG", low=1, high=100)
    subsampling: str = option(
        "4:4:4", "colour subsampling of a JPEG", choices=("4:4:4", "4:2:2", "4:2:0")
    )
    sharpen: float = option(0.0, "output sharpening, 0 = off", unit="share", low=0, high=3)
    sharpen_disc_px: float = option(2.0, "reach of the sharpening", unit="px", low=0.5, high=20)
    name: str = option(
        "{stem}-{profile}-{width}x{height}{cut}",
        "name without suffix; fields: stem, number, profile, width, height, dpi, date, and cut: "
        "-crop, -trim or nothing",
    )
    private: bool = option(default=False, help="leave out position, owner and serial numbers")

    def __post_init__(self) -> None:
        """Check the ranges, and that the print size has both sides."""
        check(self)
        if (self.print_width_cm is None) != (self.print_height_cm is None):
            raise InputError("print size: give both sides, as in --print 30x20")
        if self.bits not in (8, 16):
            raise InputError(f"bits = {self.bits}: choose 8 or 16")
