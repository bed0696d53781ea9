"""Delivery in one word on the command line, for commands whose subject is another one."""

from collections.abc import Mapping
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
    long = {field: name for name, field in _SHORT.items()}
    return delivery_settings({item: f"--deliver: {long.get(item, item)}" for item in items}, given)


def delivery_settings(names: Mapping[str, str], given: Mapping[str, Any]) -> DeliverySettings:
    """Return delivery settings; an error calls a field what whoever wrote the value calls it.

    Parameters
    ----------
    names : what the fields are called.
    given : the fields' values.

    Raises
    ------
    InputError : a value out of range.

    >>> delivery_settings({"long_edge_px": "--long-edge"}, {"long_edge_px": 0})
    Traceback (most recent call last):
    ...
    blendkit.errors.InputError: --long-edge = 0: allowed is 16 to 100000 px
    """
    try:
        return DeliverySettings(**given)
    except InputError as error:
        field, equals, rest = str(error).partition(" = ")
        if not equals or field not in names:
            raise
        raise InputError(f"{names[field]} = {rest}") from error


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
