"""Whether copies for the lab can be written, told before the merge that they follow."""

from collections.abc import Mapping, Sequence
from pathlib import Path

from blendkit.errors import InputError
from blendkit.files.atomic import check_name
from blendkit.files.checksums import check_list
from blendkit.files.deliver import check_profile
from blendkit.files.delivery_name import check_pattern, file_name
from blendkit.files.encode_png_jpeg import check_sides
from blendkit.files.print_size import place
from blendkit.settings import DeliverySettings

ANY_SIZE = (300_000, 200_000)
"""(width, height) px of a picture that no print makes smaller: its copies have one name only if
those of every picture have."""


def check_settings(wanted: Sequence[DeliverySettings], *, several: bool = False) -> None:
    """Raise InputError unless profiles and name patterns are usable, and tell the copies apart.

    several : whether copies of more than one result are to have names of their own.
    """
    for settings in wanted:
        check_profile(settings.profile)
        check_pattern(settings.name, several=several)
    check_copies(Path("result"), wanted, ANY_SIZE, {})


def check_copies(
    result: Path,
    wanted: Sequence[DeliverySettings],
    size: tuple[int, int],
    taken: Mapping[Path, str],
    *,
    inputs: Sequence[Path | str] = (),
    number: int = 1,
) -> dict[Path, str]:
    """Return where the copies of a result go, with what they are.

    How much a trimmed copy loses only the merge tells; until then it is taken as whole.

    Parameters
    ----------
    result : what the copies are to be made of; it need not be there yet.
    wanted : one copy each.
    size : (width, height) of the result, px.
    taken : files that no copy may replace, their paths resolved, with what they are.
    inputs : further ones that went in.
    number : place of the result among its fellows, for the name pattern.

    Raises
    ------
    InputError : two files would have one name, a pattern gives none, a copy has more pixels a side
        than a JPEG, or what lies there under the name of the checksum list is none.
    OutputError : a name is an input's, or too long.
    """
    if wanted:
        check_list(result.parent)
    named = dict(taken)
    for index, settings in enumerate(wanted, start=1):
        placed = place(size, settings, name=result.name)
        title = Path(settings.profile).stem
        name = file_name(result.stem, settings, placed, profile=title, number=number)
        path = result.with_name(name).resolve()
        if path in named:
            raise InputError(
                f"--deliver: copy {index} would be named {name} as {named[path]} is; give it a "
                f"name of its own, as in --deliver {_size(settings)},name={{stem}}-copy{index}"
            )
        check_name(path, inputs)
        if size != ANY_SIZE:  # of which the name alone is asked
            check_sides(path, placed.sheet)
        named[path] = f"copy {index}"
    return {path: what for path, what in named.items() if path not in taken}


def _size(settings: DeliverySettings) -> str:
    if settings.print_width_cm is None or settings.print_height_cm is None:
        return "full"
    return f"{settings.print_width_cm:g}x{settings.print_height_cm:g}"
