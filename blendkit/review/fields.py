"""The settings as fields of the page: made from what each setting says about itself."""

from collections.abc import Mapping
from dataclasses import fields
from typing import Any

from blendkit.errors import InputError
from blendkit.settings import MergeSettings

Overrides = dict[str, dict[str, Any]]

NEAR: dict[str, tuple[str, ...]] = {
    "not-aligned": ("alignment.model", "alignment.least_confidence", "alignment.shift_range"),
    "soft-foreground": ("viewing.print_width_cm", "viewing.viewing_cm"),
    "veil-remains": ("discs.disc_px", "plate.veil_error"),
    "light-step": ("light.window_share",),
    "grain-step": ("grain.match",),
    "soft-midground": ("viewing.print_width_cm", "viewing.viewing_cm"),
    "blur-step": ("viewing.print_width_cm", "viewing.viewing_cm"),
}
"""Settings that matter for the decision on a kind of flag."""


def setting_fields(overrides: Mapping[str, Mapping[str, Any]]) -> list[dict[str, Any]]:
    """Return every setting with its help, unit, range and value, in the order of the stages."""
    usual = MergeSettings()
    found = []
    for stage in fields(MergeSettings):
        defaults = getattr(usual, stage.name)
        for item in fields(defaults):
            default = getattr(defaults, item.name)
            value = overrides.get(stage.name, {}).get(item.name, default)
            found.append(_field(stage.name, item.name, item.metadata, default, value))
    return found


def _field(
    stage: str, name: str, meta: Mapping[str, Any], default: Any, value: Any
) -> dict[str, Any]:
    kind = "choice" if meta["choices"] else "switch" if isinstance(default, bool) else "number"
    return {
        "name": f"{stage}.{name}",
        "stage": stage,
        "label": label_of(name),
        "help": meta["help"],
        "unit": meta["unit"],
        "kind": kind,
        "low": meta["low"],
        "high": meta["high"],
        "step": 1 if isinstance(default, int) else 0,
        "choices": list(meta["choices"]),
        "value": value,
        "default": default,
    }


def label_of(name: str) -> str:
    """Return a setting's name for people: its unit stands beside the number.

    >>> label_of("largest_relative_disc_px")
    'Largest relative disc'
    """
    words = name.split("_")
    if words[-1] in ("px", "cm", "deg", "share", "ev"):
        words = words[:-1]
    return " ".join(words).capitalize()


def with_values(overrides: Mapping[str, Mapping[str, Any]], values: Mapping[str, Any]) -> Overrides:
    """Return overrides with some "stage.field" changed; a default value is no override.

    Raises
    ------
    InputError : no such field.
    """
    known = {item["name"]: item for item in setting_fields({})}
    changed: Overrides = {stage: dict(own) for stage, own in overrides.items()}
    for name, value in values.items():
        if name not in known:
            raise InputError(f"{name}: is no setting of a merge; reload the page")
        stage, _, field_name = name.partition(".")
        default = known[name]["default"]
        if value == default or value is None:
            changed.get(stage, {}).pop(field_name, None)
            continue
        whole = isinstance(default, int) and not isinstance(default, bool)
        given = int(value) if whole and isinstance(value, float) and value.is_integer() else value
        changed.setdefault(stage, {})[field_name] = given
    return {stage: own for stage, own in changed.items() if own}
