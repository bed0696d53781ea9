"""The settings as fields of the page: made from what each setting says about itself."""

from collections.abc import Mapping
from dataclasses import Field, fields
from typing import Any

from blendkit.errors import InputError
from blendkit.settings import MergeSettings

Overrides = dict[str, dict[str, Any]]

NEAR: dict[str, tuple[str, ...]] = {
    "not-aligned": ("alignment.model", "alignment.least_confidence", "alignment.shift_range"),
    "loosely-aligned": ("alignment.model", "alignment.shift_range"),
    "soft-foreground": ("viewing.print_width_cm", "viewing.viewing_cm"),
    "veil-remains": ("discs.disc_px", "plate.veil_error"),
    "light-step": ("light.window_share",),
    "grain-step": ("grain.match",),
    "soft-midground": ("viewing.print_width_cm", "viewing.viewing_cm"),
    "blur-step": ("viewing.print_width_cm", "viewing.viewing_cm"),
}
"""Settings that matter for the decision on a kind of flag."""


def setting_fields(settings: MergeSettings, asked: MergeSettings) -> list[dict[str, Any]]:
    """Return every setting with its help, unit, range and value, in the order of the stages.

    settings: in force.  asked: what they go back to: the defaults, and what was given for the pair
    in its list or when it was merged.
    """
    found = []
    for stage in fields(MergeSettings):
        defaults, own = getattr(asked, stage.name), getattr(settings, stage.name)
        for item in fields(defaults):
            values = {"value": getattr(own, item.name), "default": getattr(defaults, item.name)}
            found.append(_field(stage.name, item) | values)
    return found


def _field(stage: str, item: Field[Any]) -> dict[str, Any]:
    meta, usual = item.metadata, item.default
    kind = "choice" if meta["choices"] else "switch" if isinstance(usual, bool) else "number"
    return {
        "name": f"{stage}.{item.name}",
        "stage": stage,
        "label": label_of(item.name),
        "help": meta["help"],
        "unit": meta["unit"],
        "kind": kind,
        "low": meta["low"],
        "high": meta["high"],
        "step": 1 if isinstance(usual, int) else 0,
        "choices": list(meta["choices"]),
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


def with_values(
    overrides: Mapping[str, Mapping[str, Any]], values: Mapping[str, Any], asked: MergeSettings
) -> Overrides:
    """Return overrides with some "stage.field" changed; what was asked for is no override.

    Raises
    ------
    InputError : no such field.
    """
    known = {item["name"]: item for item in setting_fields(asked, asked)}
    changed: Overrides = {stage: dict(own) for stage, own in overrides.items()}
    for name, value in values.items():
        if name not in known:
            raise InputError(f"{name}: is no setting of a merge; reload the page")
        stage, _, field_name = name.partition(".")
        default = known[name]["default"]
        if value == default or value is None:
            changed.get(stage, {}).pop(field_name, None)
            continue
        whole = known[name]["step"] == 1
        given = int(value) if whole and isinstance(value, float) and value.is_integer() else value
        changed.setdefault(stage, {})[field_name] = given
    return {stage: own for stage, own in changed.items() if own}
