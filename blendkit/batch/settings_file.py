"""Settings of a merge from nested tables, and which of them a complaint is about."""

from collections.abc import Mapping
from typing import Any

from blendkit.errors import InputError
from blendkit.settings import MergeSettings
from blendkit.sidecar import merge_settings


class SettingError(InputError):
    """A setting that cannot be used; path says which one: ("matte", "hold")."""

    def __init__(self, message: str, path: tuple[str, ...]) -> None:
        super().__init__(message.removeprefix("settings: "))
        self.path = path


def merged_settings(base: MergeSettings, changes: Mapping[str, Any]) -> MergeSettings:
    """Return settings with some of them changed, {stage: {field: value}}.

    Examples
    --------
    >>> merged_settings(MergeSettings(), {"matte": {"hold": 0.5}}).matte.hold
    0.5

    Raises
    ------
    SettingError : an unknown name, a value of the wrong kind or out of range.
    """
    for stage, values in changes.items():
        singly = values.items() if isinstance(values, Mapping) else [("", None)]
        for name, value in singly:
            one = {stage: {name: value} if name else values}
            try:
                base = merge_settings(one, base)
            except InputError as error:
                known = bool(name) and hasattr(base, stage)
                raise SettingError(str(error), (stage, name) if known else (stage,)) from error
    return base
