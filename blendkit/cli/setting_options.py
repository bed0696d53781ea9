"""Options made from settings: help, unit, range and default come from the dataclass field."""

from collections.abc import Callable, Mapping
from dataclasses import Field, fields
from typing import Any, get_args, get_origin, get_type_hints

import click

Command = Callable[..., None]


def setting_options(settings: type, flags: Mapping[str, str]) -> Callable[[Command], Command]:
    """Return a decorator that adds an option for some fields of a settings dataclass.

    Parameters
    ----------
    settings : a dataclass whose fields were made by `blendkit.settings.option`.
    flags : flag by field name, such as {"disc_px": "--disc-px"}; the parameter is the field's name.

    The options default to None, "not given", so that a file's settings can stand below them.
    """
    items = {item.name: item for item in fields(settings)}
    hints = get_type_hints(settings)

    def decorate(function: Command) -> Command:
        for name, flag in reversed(list(flags.items())):
            function = _option(items[name], flag, hints[name])(function)
        return function

    return decorate


def _option(item: Field[Any], flag: str, kind: Any) -> Callable[[Command], Command]:
    meta, default = item.metadata, item.default
    if kind is bool:
        said = "yes" if default else "no"
        return click.option(flag, item.name, default=None, help=f"{meta['help']} [default: {said}]")
    said = (
        ""
        if default is None
        else f" [default: {default:g}]"
        if kind is float
        else f" [default: {default}]"
    )
    return click.option(
        flag,
        item.name,
        type=click.Choice(meta["choices"]) if meta["choices"] else _plain(kind),
        metavar=None if meta["choices"] else (meta["unit"].upper() or None),
        help=meta["help"] + said,
    )


def _plain(kind: Any) -> Any:
    """Return the type itself, or X of X | None."""
    if get_origin(kind) is None:
        return kind
    return next(part for part in get_args(kind) if part is not type(None))
