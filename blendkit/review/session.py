"""Everything behind the page, without HTTP: pairs, pictures, previews, merges."""

import itertools
from collections import OrderedDict
from collections.abc import Callable, Sequence
from pathlib import Path
from typing import Any, cast, get_args

from blendkit.errors import InputError
from blendkit.files.capture import read_capture
from blendkit.masks.strokes import Paint, Role
from blendkit.report.handwork import Work, handwork
from blendkit.review import marks, repairs
from blendkit.review.fields import NEAR, setting_fields
from blendkit.review.folder import not_shown, pairs_in, stamp_of
from blendkit.review.jobs import Job, Jobs
from blendkit.review.pictures import Tiled, Whole, file_pictures, whole
from blendkit.review.preview import Previewer, Shown, Small, display, small_frames
from blendkit.review.pyramid import Pyramids
from blendkit.review.reason import Reason, loudest_first, order_of, reason_for
from blendkit.review.spots import spots_of
from blendkit.review.state import PairState, strokes_of
from blendkit.review.work import Task
from blendkit.review.zones import zone_strokes, zones_of
from blendkit.sidecar import merge_settings

_PREVIEWS_KEPT = 2
"""Pairs whose small merge stays in memory: about 250 MB each."""
_WHOLES_KEPT = 24

Document = dict[str, Any]


class UnknownNameError(Exception):
    """The page asked for a pair or a file of a name that there is not."""


class Session:
    """One person's look at the pairs of a folder.

    Parameters
    ----------
    folder : holds pairs and results.
    frames : further folders in which the results' frames may lie.
    cache : where pyramids are kept; None takes the user's cache folder.
    """

    def __init__(
        self, folder: Path, *, frames: Sequence[Path] = (), cache: Path | None = None
    ) -> None:
        self.folder = folder
        self._frames = tuple(frames)
        self.pyramids = Pyramids(cache)
        states = [PairState(files) for files in pairs_in(folder, frames=frames)]
        # The order is settled once, so that nothing moves under the photographer's hand.
        states.sort(key=lambda one: order_of(self._reason(one), open_=_is_open(one)))
        self.pairs = {state.id: state for state in states}
        self.jobs = Jobs(self._ended)
        self._works: dict[str, tuple[Work, tuple[int, int] | None]] = {}
        self._tiled: dict[str, Tiled] = {}
        self._wholes: OrderedDict[str, Whole] = OrderedDict()
        self._marks: dict[str, Callable[[], bytes]] = {}
        self._previewers: OrderedDict[str, Previewer] = OrderedDict()
        self._count = itertools.count(1)

    def pair(self, key: str) -> PairState:
        """Return a pair; UnknownNameError if there is none of this id."""
        if key not in self.pairs:
            raise UnknownNameError(key)
        return self.pairs[key]

    # What the page is told

    def listing(self) -> Document:
        """Return all pairs in their order."""
        return {
            "folder": self.folder.name or str(self.folder),
            "pairs": [self._entry(state) for state in self.pairs.values()],
            "left_out": not_shown(self.folder, frames=self._frames, places=False),
        }

    def document(self, key: str) -> Document:
        """Return everything about one pair."""
        state = self.pair(key)
        state.refresh()
        report = state.report
        pictures, size = file_pictures(key, state.files, report)
        self._tiled.update({one.id: one for one in pictures})
        return {
            **self._entry(state),
            "revision": state.revision,
            "size": list(size),
            "pictures": [one.document() for one in _in_order(pictures)],
            "marks": self._mark_documents(state, report, pictures),
            "flags": self._flag_documents(state, report, size),
            "strokes": [_stroke(one) for one in state.history.now],
            "undo": state.history.can_undo,
            "redo": state.history.can_redo,
            "ties": state.sidecar.ties,
            "fields": setting_fields(state.settings, merge_settings(state.asked.settings)),
            "job": _job(self.jobs.of(key)),
            "repair": next(map(repairs.label_of, state.repairs), None),
            "stale": state.stale,
            "notes": [state.trouble] if state.trouble else [],
        }

    def news(self) -> list[Document]:
        """Return what may have changed, in short."""
        found = []
        for state in self.pairs.values():
            state.refresh()
            job = _job(self.jobs.of(state.id))
            entry = self._entry(state)
            found.append({"id": state.id, "revision": state.revision, "job": job, "entry": entry})
        return found

    def _reason(self, state: PairState) -> Reason:
        return reason_for(state.report, merged=state.merged, why=state.files.why)

    def _entry(self, state: PairState) -> Document:
        reason = self._reason(state)
        return {
            "id": state.id,
            "name": state.files.name,
            "decision": state.sidecar.decision,
            "severity": reason.severity,
            "reason": reason.sentence,
            "merged": state.merged,
        }

    def _flag_documents(
        self, state: PairState, report: Document | None, size: tuple[int, int]
    ) -> list[Document]:
        result = state.files.result
        spots = spots_of(result.with_name(f"{result.stem}.flags.png"), size)
        return [
            {
                "id": int(flag.get("id", 0)),
                "kind": str(flag.get("kind", "")),
                "severity": flag["severity"],
                "box": flag.get("box"),
                "spots": spots.get(int(flag.get("id", 0)), []),
                "message": str(flag["message"]),
                "advice": str(flag.get("advice", "")),
                "repairs": repairs.offers_for(state, flag),
                "settings": list(NEAR.get(str(flag.get("kind")), ())),
            }
            for flag in _flags(report)
        ]

    def _mark_documents(
        self, state: PairState, report: Document | None, pictures: Sequence[Tiled]
    ) -> list[Document]:
        by_kind = {one.kind: one for one in pictures}
        background, foreground = by_kind["background"], by_kind["foreground"]
        size, stem = background.size, state.files.result.stem
        beside = {
            what: state.files.result.with_name(f"{stem}.{what}.png")
            for what in ("flags", "sources")
        }
        makers: dict[str, Callable[[], bytes]] = {}
        if report and report.get("flags") and beside["flags"].is_file():
            makers["flags"] = lambda: marks.flags_mark(beside["flags"], report, size)
        if beside["sources"].is_file():
            makers["sources"] = lambda: marks.sources_mark(beside["sources"], size)
        makers["blur"] = lambda: marks.blur_mark(self._small_merge(state), size)
        makers["zones"] = lambda: marks.zones_mark(self._small_merge(state), size)
        makers["clipped"] = lambda: marks.clipped_mark(self.pyramids, background, foreground)
        version = by_kind["result"].id[-10:] if "result" in by_kind else foreground.id[-10:]
        work = handwork(*state.work())  # the small merge, which two marks show, hangs on it
        versions = {"blur": version + work, "zones": version + work}
        found = {
            f"{state.id}-{kind}-{versions.get(kind, version)}": (kind, make)
            for kind, make in makers.items()
        }
        self._marks.update({key: make for key, (_, make) in found.items()})
        return [
            {"id": key, "kind": kind, "label": marks.LABELS[kind]}
            for key, (kind, _) in found.items()
        ]

    # Pictures

    def tile(self, key: str, level: int, column: int, row: int) -> bytes | None:
        """Return a tile of a picture as JPEG; None if there is none."""
        picture = self._tiled.get(key)
        return None if picture is None else picture.tile(self.pyramids, level, column, row)

    def picture(self, key: str) -> bytes | None:
        """Return a picture that is sent in one piece, as JPEG; None if there is none."""
        found = self._wholes.get(key)
        return None if found is None else found.jpeg

    def mark(self, key: str) -> bytes | None:
        """Return marks as PNG with transparency; None if there are none of this id."""
        make = self._marks.get(key)
        return None if make is None else make()

    # What the page asks for

    def size(self, state: PairState) -> tuple[int, int]:
        """Return the background frame's (width, height), px."""
        return read_capture(state.files.background)[1]

    def paint(self, key: str, strokes: Any) -> None:
        """Add strokes that belong together."""
        state = self.pair(key)
        size = self.size(state)
        state.paint(strokes_of(strokes, size), size)

    def take_zone(self, key: str, x: float, y: float, role: Any) -> None:
        """Paint the zone at a place."""
        state = self.pair(key)
        if role not in get_args(Paint):
            raise InputError(f"role {role!r}: choose one of {', '.join(get_args(Paint))}")
        size = self.size(state)
        zones = zones_of(self._small_merge(state))
        strokes = zone_strokes(zones, (x, y), size, cast("Role", role))
        if not strokes:
            raise InputError("there is no zone at this place; paint it")
        state.paint(strokes, size)

    def preview(self, key: str) -> Document:
        """Bring the pair's preview up to date; Superseded if a newer request came in."""
        state = self.pair(key)
        with state.lock:
            work, revision = state.work(), state.revision
        shown = self._previewer(state).update(*work)
        return {"revision": revision, "pictures": self._keep(state, _as_kinds(shown))}

    def merge(self, key: str) -> None:
        """Start a merge in full; nothing happens while one of this pair is under way."""
        state = self.pair(key)
        with state.lock:
            work, files = state.work(), state.files_read
            before = stamp_of(files.result)
        layers = state.files.result.with_name(f"{state.files.result.stem}.matte.tif").is_file()
        modes = tuple(repairs.checked_mode(mode) for mode in state.repairs)
        if self.jobs.add(key, Task(files, *work, modes, layers)):
            self._works[key] = work, before

    def try_repair(self, key: str, mode: str) -> Document:
        """Repair at screen size and return the picture; nothing is changed."""
        state = self.pair(key)
        wanted = repairs.checked_mode(mode)
        merged = self._small_merge(state)
        small, (strokes, *_) = self._previewer(state).small(), state.work()
        repaired = repairs.try_repair(merged, small, wanted, strokes)
        shown = {"repair": display(repaired.pixels)}
        return {"revision": state.revision, "pictures": self._keep(state, shown)}

    def keep_repair(self, key: str, flag: int, mode: str) -> None:
        """Note a repair and merge in full with it."""
        state = self.pair(key)
        wanted = repairs.checked_mode(mode)
        kinds = {int(one.get("id", 0)): str(one.get("kind")) for one in _flags(state.report)}
        if flag not in kinds:
            raise InputError("this finding is gone; reload the page")
        state.repaired(kinds[flag], wanted)
        self.merge(key)

    def take_repair_back(self, key: str) -> None:
        """Note that nothing is to be repaired, and merge in full without."""
        self.pair(key).take_repair_back()
        self.merge(key)

    def stop_previews(self) -> None:
        """Give up the previews that are being worked out."""
        for previewer in tuple(self._previewers.values()):
            previewer.stop()

    def close(self) -> None:
        """End merges; everything else is saved already."""
        self.jobs.close()

    def _keep(self, state: PairState, shown: dict[str, Any]) -> list[Document]:
        version, size = next(self._count), self.size(state)
        kept = [whole(state.id, kind, version, pixels, size) for kind, pixels in shown.items()]
        self._wholes.update({one.id: one for one in kept})
        while len(self._wholes) > _WHOLES_KEPT:
            self._wholes.popitem(last=False)
        return [one.document() for one in kept]

    def _previewer(self, state: PairState) -> Previewer:
        previewer = self._previewers.pop(state.id, None) or Previewer(lambda: self._small(state))
        self._previewers[state.id] = previewer
        while len(self._previewers) > _PREVIEWS_KEPT:
            _, oldest = self._previewers.popitem(last=False)
            oldest.stop()  # nobody waits for it, and whoever asks next would
            oldest.drop()
        return previewer

    def _small(self, state: PairState) -> Small:
        files = state.files
        captures = read_capture(files.background)[0], read_capture(files.foreground)[0]
        pyramids = self.pyramids.of(files.background), self.pyramids.of(files.foreground)
        names = files.background.name, files.foreground.name
        aligned = files.asked.aligned
        return small_frames(*pyramids, captures, names, masks=files.masks, aligned=aligned)

    def _small_merge(self, state: PairState) -> Any:
        return self._previewer(state).current(*state.work())

    def _ended(self, key: str, job: Job) -> None:
        state = self.pair(key)
        work, before = self._works.get(key) or (state.work(), stamp_of(state.files.result))
        # A merge that is stopped may have put its result in place just before.
        if job.state == "done" or stamp_of(state.files.result) != before:
            state.result_changed(work)
        else:
            with state.lock:
                state.revision += 1


def _as_kinds(shown: Shown) -> dict[str, Any]:
    return {"preview": shown.result, "preview-plate": shown.plate, "preview-matte": shown.matte}


def _is_open(state: PairState) -> bool:
    return state.sidecar.decision == "open"


def _in_order(pictures: Sequence[Tiled]) -> list[Tiled]:
    order = ["result", "background", "foreground", "plate", "matte", "taken"]
    return sorted(pictures, key=lambda one: order.index(one.kind))


def _flags(report: Document | None) -> list[Any]:
    return loudest_first((report or {}).get("flags") or [])


def _stroke(stroke: Any) -> Document:
    return {
        "points": stroke.points,
        "diameter_px": stroke.diameter_px,
        "role": stroke.role,
    }


def _job(job: Job | None) -> Document | None:
    if job is None:
        return None
    return {"state": job.state, "stage": job.stage, "share": job.share, "error": job.error}
