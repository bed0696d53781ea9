"""Whether somebody has worked on a result since it was merged."""

from pathlib import Path

from blendkit.errors import InputError
from blendkit.files.checksums import sha256
from blendkit.files.documents import read_json

KEPT = "was changed by hand since it was merged, and stays: rename or delete it to merge anew"


def edited_since(result: Path, report: Path) -> bool:
    """Return whether a result is another file than the merge of its report wrote.

    False where there is none, or where the report does not say: an earlier version's, or another
    result's.  A result older than its report is what a merge that was killed did not get to
    replace.
    """
    try:
        output = read_json(report, what="a report", cure="move it away")["output"]
        name, made = Path(output["path"]).name, output["sha256"]
    except (InputError, OSError, KeyError, TypeError):
        return False
    if name != result.name or not result.is_file():
        return False
    newer = result.stat().st_mtime_ns > report.stat().st_mtime_ns
    return newer and sha256(result) != made
