"""Reading JSON that somebody or something else has written."""

import json
from pathlib import Path
from typing import Any

from blendkit.errors import InputError


def read_json(path: Path, *, what: str, cure: str) -> Any:
    """Read a JSON document.

    Parameters
    ----------
    path : the file.
    what, cure : end the message "PATH: is not WHAT; CURE" where it is something else.

    Raises
    ------
    InputError : missing, not to be read, not UTF-8, not JSON, or nested beyond any use.
    """
    try:
        # some editors begin UTF-8 with a byte order mark
        return json.loads(path.read_text(encoding="utf-8-sig"))
    except FileNotFoundError as error:
        raise InputError(f"{path}: there is no such file; check the name") from error
    except OSError as error:
        reason = error.strerror or type(error).__name__
        raise InputError(f"{path}: cannot be read ({reason}); {cure}") from error
    except (ValueError, RecursionError) as error:
        raise InputError(f"{path}: is not {what}; {cure}") from error
