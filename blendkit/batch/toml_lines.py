"""Reading TOML so that every complaint names its line."""

import re
import tomllib
from dataclasses import dataclass
from pathlib import Path
from typing import Any

from blendkit.errors import InputError

_TABLE = re.compile(r"^\s*\[\[?\s*([^\[\]]+?)\s*\]\]?\s*(#.*)?$")


@dataclass(frozen=True, slots=True)
class TomlFile:
    """A parsed file with its text: `line` finds where a key stands."""

    path: Path
    text: str
    data: dict[str, Any]

    @property
    def _lines(self) -> list[str]:
        return self.text.splitlines()

    def error(self, line: int, message: str) -> InputError:
        """Return an error that names the file and the line."""
        return InputError(f"{self.path}, line {line}: {message}")

    def line(self, table: str = "", key: str = "", *, nth: int = 0) -> int:
        """Return the line, from 1, of a key in a table; of the table's head if it is not there.

        Parameters
        ----------
        table : dotted name, "" = before the first table.
        nth : which of an array's tables, from 0; a table below it counts with it.
        """
        root = table.split(".", maxsplit=1)[0]
        seen, here, head = -1, table == "", 1
        in_array = any(re.match(rf"\s*\[\[\s*{root}\s*\]\]", text) for text in self._lines)
        for number, text in enumerate(self._lines, start=1):
            found = _TABLE.match(text)
            if found:
                name = ".".join(part.strip(" \"'") for part in found[1].split("."))
                seen += in_array and name == root
                mine = not in_array or seen == nth
                here = mine and name == table
                if mine and key and name == f"{table}.{key}".lstrip("."):
                    return number
                head = number if mine and name in (table, root) else head
            elif here and key and re.match(rf"\s*[\"']?{re.escape(key)}[\"']?\s*[=.]", text):
                return number
        return head


def read_toml(path: Path) -> TomlFile:
    """Read a TOML file.

    Raises
    ------
    InputError : it cannot be read, or is no TOML; the line is named.
    """
    try:
        text = path.read_text(encoding="utf-8-sig")  # some editors begin it with a mark
    except UnicodeDecodeError as error:
        raise InputError(f"{path}: is not a text in UTF-8; save it as UTF-8") from error
    except OSError as error:
        raise InputError(f"{path}: cannot be read ({error.strerror}); check the name") from error
    try:
        return TomlFile(path, text, tomllib.loads(text))
    except RecursionError as error:
        raise InputError(f"{path}: is nested too deeply; write it flat") from error
    except tomllib.TOMLDecodeError as error:
        place = re.search(r"\(at line (\d+), column (\d+)\)", str(error))
        line = int(place[1]) if place else len(text.splitlines()) or 1
        reason = str(error).split(" (at")[0]
        raise InputError(f"{path}, line {line}: {reason}; correct that line") from error
