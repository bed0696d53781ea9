"""What is known and decided about one pair; every change is saved before it is answered."""

import hashlib
import os
import threading
from collections.abc import Mapping, Sequence
from dataclasses import replace
from pathlib import Path
from typing import Any, get_args

from blendkit.errors import BlendkitError, InputError
from blendkit.files.capture import read_capture
from blendkit.masks.strokes import Stroke, strokes_from
from blendkit.report.asked import Asked, asked_from
from blendkit.report.handwork import Work, handwork
from blendkit.report.inputs import painted_at_another_size, read_strokes
from blendkit.report.mending import NO_REPAIR, modes_of
from blendkit.review.fields import with_values
from blendkit.review.folder import PairFiles, of_other_files, read_report, stamp_of, taken_by
from blendkit.review.history import History
from blendkit.settings import MergeSettings
from blendkit.sidecar import (
    Decision,
    Sidecar,
    merge_settings,
    read_sidecar,
    sidecar_path,
    ties_from,
    write_sidecar,
)

MOST_STROKES = 20_000
MOST_TIES = 200


class PairState:
    """One pair: its files, its sidecar, and the history of its strokes.

    All changes pass through a lock and end in the sidecar, so two pages of one pair cannot mix
    up their changes; what another program wrote to the sidecar meanwhile is taken up first.
    """

    def __init__(self, files: PairFiles) -> None:
        self.files = files
        name = os.fsencode(f"{files.background}|{files.result}")
        self.id = hashlib.sha256(name).hexdigest()[:12]
        self.path = sidecar_path(files.result)
        self.lock = threading.RLock()
        self.revision = 0
        self.trouble = ""
        self._stamp: tuple[int, int] | None = None
        self.sidecar = Sidecar()
        self.history = History()
        self._painted = False
        self._made: tuple[tuple[int, int] | None, ...] = ()
        self._taken = files.taken
        self.refresh()
        self._merged_with = self.work()

    @property
    def report(self) -> dict[str, Any] | None:
        """The report of the pair's result; None if it was not merged."""
        return read_report(self.files.report)

    @property
    def merged(self) -> bool:
        """Whether the pair has a result."""
        return self.files.result.is_file()

    @property
    def settings(self) -> MergeSettings:
        """The settings that the next merge takes."""
        return merge_settings(self.sidecar.settings, merge_settings(self.asked.settings))

    @property
    def asked(self) -> Asked:
        """What was asked for: in the list of pairs, else when it was merged last."""
        report = None if self.files.listed else self.report
        return self.files.asked if report is None else asked_from(report)

    @property
    def repairs(self) -> tuple[str, ...]:
        """The modes of repair that the next merge takes; a bridge needs frames."""
        bridges = self.files.bridges
        modes = modes_of(self.sidecar.repairs, bridges, self.asked.repair)
        return tuple(mode for mode in modes if bridges or mode != "bridge")

    @property
    def stale(self) -> bool:
        """Whether something was painted, tied, set or listed since the result was made."""
        if self.files.listed and self.merged and of_other_files(self.files, self._taken):
            return True
        made_with = asked_from(self.report or {}).handwork
        if made_with:
            # A bridge frame that could not be read, or not be looked at here, is still asked for.
            asked = modes_of(self.sidecar.repairs, (self.files.result,), self.asked.repair)
            ways = {handwork(*self.work(), modes) for modes in (self.repairs, asked)}
            return self.merged and made_with not in ways
        return self.merged and self.work() != self._merged_with  # a report of an older version

    def refresh(self) -> None:
        """Take up what another program wrote to the sidecar."""
        with self.lock:
            made = stamp_of(self.files.report), stamp_of(self.files.result)
            if made != self._made:
                if self._made and self._made[0] != made[0]:
                    self._taken = taken_by(self.report or {})
                self._made = made
                self.revision += 1  # another result is there, which nobody has seen
            stamp = stamp_of(self.path)
            if stamp == self._stamp and stamp is not None and not self.trouble:
                return
            try:
                sidecar = read_sidecar(self.path)
                self._check_size(sidecar)
                found = self._with_strokes(sidecar)
            except BlendkitError as error:
                self.trouble = str(error)
                return
            self.trouble = ""
            self._painted = sidecar.size is not None
            if found.strokes != self.history.now:
                self.history = History(found.strokes)
            if self._stamp is not None or stamp is not None:
                self.revision += 1
            self.sidecar, self._stamp = found, stamp

    def _check_size(self, sidecar: Sidecar) -> None:
        """Raise InputError unless what was painted was painted on frames of this size."""
        if sidecar.size is None or not self.files.background.is_file():
            return
        size = read_capture(self.files.background)[1]
        if sidecar.size != size:
            raise InputError(painted_at_another_size(sidecar.size, size, self.path.name))

    def _with_strokes(self, found: Sidecar) -> Sidecar:
        """Return a sidecar with the pair's file of strokes while nothing was painted in it."""
        if found.size is not None or self.files.strokes is None:
            return found
        size = read_capture(self.files.background)[1]
        return replace(found, size=size, strokes=read_strokes(self.files.strokes, size))

    def _save(self, changed: Sidecar) -> None:
        if self.trouble:
            raise InputError(self.trouble)
        self.path.parent.mkdir(parents=True, exist_ok=True)
        written = replace(changed, inputs=self._inputs())
        if not self._painted:  # strokes of a file stay that file's
            written = replace(written, size=None, strokes=())
        write_sidecar(self.path, written)
        self.sidecar, self._stamp = changed, stamp_of(self.path)
        self.revision += 1

    def _inputs(self) -> dict[str, str]:
        """Return all that the sidecar names, with the files of the pair as they are known here.

        What is in no folder that the page may look into is left as it was named.
        """
        folder, files = self.path.parent.resolve(), self.files
        known = {"background": files.background, "foreground": files.foreground}
        known |= {role.replace("_", "-"): path for role, path in files.masks.items()}
        more = {"clear": files.clear, "strokes": files.strokes}
        known |= {role: path for role, path in more.items() if path is not None}
        named = {role: _relative(path, folder) for role, path in known.items()}
        return {**self.sidecar.inputs, **named}

    def decide(self, decision: Any, shown: Any = None) -> None:
        """Keep a decision; shown: the revision that was looked at, None where nobody says."""
        if decision not in get_args(Decision):
            raise InputError(
                f"decision {decision!r}: choose one of {', '.join(get_args(Decision))}"
            )
        with self.lock:
            self.refresh()
            if decision == "accepted" and not self.merged:
                raise InputError("there is no result to accept: merge it first")
            if decision == "accepted" and shown not in (None, self.revision):
                raise InputError(
                    "this pair has changed since it was shown (another result, or work on another "
                    "page): look again, then accept"
                )
            if decision == "accepted" and self.stale:
                raise InputError(
                    "strokes, ties or numbers have changed since this result: merge again and "
                    "look, then accept"
                )
            self._save(replace(self.sidecar, decision=decision))

    def paint(self, strokes: Sequence[Stroke], size: tuple[int, int]) -> None:
        """Add strokes that belong together."""
        with self.lock:
            self.refresh()
            if len(self.history.now) + len(strokes) > MOST_STROKES:
                raise InputError(f"more than {MOST_STROKES} strokes: erase with fewer, larger ones")
            self.history.add(strokes)
            self._save_strokes(size)

    def undo(self, size: tuple[int, int]) -> None:
        """Undo the last painting, if there is one."""
        with self.lock:
            self.refresh()
            if self.history.undo():
                self._save_strokes(size)

    def redo(self, size: tuple[int, int]) -> None:
        """Do again what was undone last, if anything was."""
        with self.lock:
            self.refresh()
            if self.history.redo():
                self._save_strokes(size)

    def _save_strokes(self, size: tuple[int, int]) -> None:
        painted, self._painted = self._painted, True
        try:
            self._save(replace(self.sidecar, strokes=self.history.now, size=size))
        except BlendkitError:  # what cannot be kept is not shown as kept
            self._painted = painted
            self.history = History(self.sidecar.strokes)
            raise

    def tie(self, ties: Any) -> None:
        """Replace the ties."""
        try:
            found = ties_from(ties)
        except (TypeError, ValueError) as error:
            raise InputError("ties: give pairs of points [[x, y], [x, y]] in px") from error
        if len(found) > MOST_TIES or not all(_sane(place) for tie in found for place in tie):
            raise InputError(f"ties: at most {MOST_TIES}, each within the picture")
        with self.lock:
            self.refresh()
            self._save(replace(self.sidecar, ties=found))

    def set(self, values: Any) -> None:
        """Change settings, {"stage.field": value}; None goes back to the default."""
        if not isinstance(values, Mapping):
            raise InputError("settings: give values by name")
        with self.lock:
            self.refresh()
            overrides = with_values(
                self.sidecar.settings, values, merge_settings(self.asked.settings)
            )
            merge_settings(overrides)
            self._save(replace(self.sidecar, settings=overrides))

    def repaired(self, kind: str, mode: str) -> None:
        """Note a repair for a kind of flag; the merge in full carries it out."""
        with self.lock:
            self.refresh()
            # One alone: a second would start from the discs that the first has changed.
            self._save(replace(self.sidecar, repairs=({"flag": kind, "mode": mode},)))

    def take_repair_back(self) -> None:
        """Note that nothing is to be repaired, whatever the list or the last result say."""
        self.repaired("", NO_REPAIR)

    @property
    def files_read(self) -> PairFiles:
        """The files that the next merge reads: strokes of a file until something is painted."""
        strokes = None if self._painted else self.files.strokes
        return replace(self.files, asked=self.asked, strokes=strokes)

    def work(self) -> Work:
        """Return what a merge depends on: strokes, ties and settings."""
        return self.sidecar.strokes, self.sidecar.ties, self.settings

    def result_changed(self, work: Work) -> None:
        """Note that a new result was written, made with this work: nobody has accepted it yet."""
        with self.lock:
            self._merged_with = work
            self.refresh()
            if self.sidecar.decision == "accepted":
                self._save(replace(self.sidecar, decision="open"))
            self.revision += 1


def strokes_of(body: Any, size: tuple[int, int]) -> tuple[Stroke, ...]:
    """Return the strokes of a request, each checked; InputError for anything else."""
    document = {"schema": "blendkit.strokes/1", "size": list(size), "strokes": body}
    return strokes_from(document, size=size)


def _sane(place: tuple[float, float]) -> bool:
    return all(-1e6 < value < 1e6 for value in place)


def _relative(path: Path, folder: Path) -> str:
    return Path(os.path.relpath(path.resolve(), folder)).as_posix()
