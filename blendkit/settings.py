"""The settings of every stage: one frozen dataclass each.

Help, unit and range live in each field's metadata.  The command line, DEVELOPERS.md and the review
page are generated from them, so that a setting is described once.
"""

from dataclasses import Field, dataclass, field, fields
from typing import Any

from blendkit.errors import InputError


def option(  # noqa: ANN201 - dataclasses.field is typed as the field's own type
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
        raise InputError(
            f"{item.name} = {value}: allowed is {span} {item.metadata['unit']}".rstrip()
        )


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
        2400, "long side of the finest fit", unit="px", low=256, high=20000
    )
    largest_relative_disc_px: float = option(
        10.0, "largest blur difference fitted in the zone in focus", unit="px", low=0, high=40
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
        0.02, "window of the comparison, of the long side", unit="share", low=0.005, high=0.2
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
        None, "the foreground's disc in the background frame, if known", unit="px", low=0, high=2000
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
    working_size_px: int = option(500, "long side of the search", unit="px", low=100, high=3000)

    def __post_init__(self) -> None:
        """Check the ranges."""
        check(self)
