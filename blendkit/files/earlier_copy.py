"""Whether what lies where a copy for the lab goes is an earlier copy of the same result."""

from collections.abc import Mapping
from pathlib import Path

from blendkit.errors import InputError
from blendkit.files.checksums import listed, sha256
from blendkit.files.mark import note_of
from blendkit.files.there import exists
from blendkit.files.xmp import COPY_OF, legible


def check_replaceable(copy: Path, note: Mapping[str, str] | None = None) -> None:
    """Raise InputError unless a copy may be written here: nothing lies there, or an earlier one.

    A result is no copy, nor is a picture that a list of checksums happens to name.  An earlier copy
    that somebody worked on since stays, and so does that of another pair.

    Parameters
    ----------
    copy : where the copy goes.
    note : our properties of the result, and what the copy would be of; None if a record says that
        what lies there is an earlier copy of it, which earlier versions marked as a result.
    """
    if not exists(copy):
        return
    was = note_of(copy)
    if not (was if note is None else COPY_OF in was):
        raise InputError(
            f"{copy}: is there already and is no copy of a result; move it away, or deliver by "
            "another name"
        )
    if listed(copy) not in (None, sha256(copy)):
        raise InputError(
            f"{copy}: was changed since it was delivered, and stays; move it away, or deliver by "
            "another name"
        )
    if note is not None and not _same(was, note):
        raise InputError(
            f"{copy}: is a copy of another result, {_named(was)}, and stays; deliver to another "
            "folder or by another name"
        )


def _same(was: Mapping[str, str], note: Mapping[str, str]) -> bool:
    """Return whether two notes are of one pair, however its frames were developed.

    Cameras begin their numbers anew, so two shoots may have frames of one name; of what no merge
    made, or what lost its note in another program, the picture's own name is all there is.
    """
    if not ("Background" in was and "Background" in note):
        return _stem(was, COPY_OF) == _stem(note, COPY_OF)
    times = [notes.get("ForegroundCapturedAt", "")[:19] for notes in (was, note)]
    alike = times[0] == times[1] or not all(times)  # to the second: not all keep more
    return alike and all(_stem(was, role) == _stem(note, role) for role in _ROLES)


_ROLES = ("Background", "Foreground")


def _stem(note: Mapping[str, str], name: str) -> str:
    return Path(legible(note.get(name, ""))).stem


def _named(note: Mapping[str, str]) -> str:
    frames = " + ".join(note[role] for role in _ROLES if note.get(role))
    return f"{note[COPY_OF]} of {frames}" if frames else note[COPY_OF]
