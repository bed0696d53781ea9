"""Whether something is there, answered also where the system refuses to say.

pathlib raises where a folder may not be entered or a name is longer than any disk takes; whoever
goes on to open the file then says so in a sentence.
"""

from pathlib import Path


def exists(path: Path) -> bool:
    """Return whether a path leads to anything that can be asked about."""
    try:
        return path.exists()
    except (OSError, ValueError):
        return False


def is_file(path: Path) -> bool:
    """Return whether a path leads to a file that can be asked about."""
    try:
        return path.is_file()
    except (OSError, ValueError):
        return False


def is_folder(path: Path) -> bool:
    """Return whether a path leads to a folder that can be asked about."""
    try:
        return path.is_dir()
    except (OSError, ValueError):
        return False


def same_file(one: Path, other: Path) -> bool:
    """Return whether two paths lead to one file; False where one leads to none."""
    try:
        return one.samefile(other)
    except (OSError, ValueError, RuntimeError):
        return False
