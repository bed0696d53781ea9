"""Delivery in one word on the command line, for commands whose subject is another one."""

from dataclasses import Field, fields
from typing import Any

from blendkit.errors import InputError
from blendkit.settings import DeliverySettings

_SHORT = {
    "long-edge": "long_edge_px",
    "bpc": "black_point_compensation",
    "sharpen-disc": "sharpen_disc_px",
}
_SWITCH = {"yes": True, "no": False}


def parse_delivery(text: str) -> DeliverySettings:
    """Return the settings that a word such as 30x20,fit=crop,profile=srgb stands for.

    The print size in cm, or "full" for all pixels, comes first; settings follow as name=value,
    named as the options of `blendkit deliver`.

    Raises
    ------
    InputError : a size or setting that is not understood.

    >>> settings = parse_delivery("30x20,fit=crop,dpi=254")
    >>> settings.print_width_cm, settings.fit, settings.dpi
    (30.0, 'crop', 254.0)
    """
    size, *pairs = (part.strip() for part in text.split(","))
    given: dict[str, Any] = print_size_cm(size)
    items = {item.name: item for item in fields(DeliverySettings)}
    for pair in pairs:
        name, _, value = pair.partition("=")
        key = _SHORT.get(name, name)
        if key not in items or key.startswith("print_"):
            known = [key for key in items if not key.startswith("print_")]
            raise InputError(f"--deliver: there is no setting {name!r}; choose {', '.join(known)}")
        given[key] = _value(items[key], value)
    return DeliverySettings(**given)


def print_size_cm(text: str) -> dict[str, Any]:
    """Return the settings for a print size such as 30x20, none for "full"."""
    if text.lower() == "full":
        return {}
    try:
        width, height = (float(side) for side in text.lower().removesuffix("cm").split("x"))
    except ValueError as error:
        raise InputError(
            f"print size {text!r}: give width x height in cm, as in 30x20, or full"
        ) from error
    return {"print_width_cm": width, "print_height_cm": height}


def _value(item: Field[Any], text: str) -> Any:
    default: Any = item.default
    try:
        if isinstance(default, bool):
            return _SWITCH[text.lower()]
        if item.name == "long_edge_px":
            return int(text)
        return type(default)(text)
    except (KeyError, ValueError) as error:
        kind = "yes or no" if isinstance(default, bool) else "a number"
        raise InputError(f"--deliver: {item.name} = {text!r} is not {kind}") from error
