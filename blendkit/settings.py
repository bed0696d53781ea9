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
        raise InputError(f"{item.name} = {value}: allowed is {span} {item.metadata['unit']}".rstrip())


@dataclass(frozen=True, slots=True)
class ViewingSettings:
    """The print that the result is judged on: it decides how loud a flag is."""

    print_width_cm: float = option(60.0, "width of the print", unit="cm", low=1, high=1000)
    print_height_cm: float = option(40.0, "height of the print", unit="cm", low=1, high=1000)
    viewing_cm: float = option(50.0, "distance it is looked at from", unit="cm", low=5, high=5000)

    def __post_init__(self) -> None:
        """Check the ranges."""
        check(self)
