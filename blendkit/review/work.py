"""One merge in full, in a process of its own: the page stays quick, and it can be stopped."""

import multiprocessing
import signal
import time
from dataclasses import dataclass, replace
from multiprocessing.connection import Connection
from typing import Any

from blendkit.errors import NO_MEMORY, AlignmentError, BlendkitError, InputError, lacked_memory
from blendkit.frame import Progress
from blendkit.masks.strokes import Stroke
from blendkit.merge import merge_pair
from blendkit.repair import Mode
from blendkit.report.asked import check_own_paint
from blendkit.report.bundle import (
    check_targets,
    refusal_path,
    target_paths,
    write_refusal,
    write_result,
)
from blendkit.report.edited import KEPT, edited_since
from blendkit.report.handwork import handwork
from blendkit.report.inputs import Given, read_pair, with_strokes
from blendkit.report.mending import read_bridges, repaired_by
from blendkit.review.folder import PairFiles
from blendkit.settings import MergeSettings
from blendkit.sidecar import Tie

Said = tuple[str, str, float]
"""What a process tells: ("stage", name, share done), ("done", "", 1) or ("failed", why, 0)."""

CURE = "tie the same points in both frames (T), or loosen the alignment's settings"
"""What to try on the page where frames do not lie on each other."""


@dataclass(frozen=True, slots=True)
class Task:
    """A merge in full: the same as the command line's with the same strokes and settings.

    files: their file of strokes is the one that `strokes` were read from; None if they were not.
    """

    files: PairFiles
    strokes: tuple[Stroke, ...]
    ties: tuple[Tie, ...]
    settings: MergeSettings
    repairs: tuple[Mode, ...] = ()
    layers: bool = False


def merge_in_full(task: Task, told: Progress) -> None:
    """Merge and write the result with its report.

    told : called with (stage, share done); whatever it raises ends the merge.

    Raises
    ------
    BlendkitError : nothing was written, but for the report of frames that cannot be aligned.
    """
    files = task.files
    if files.unreachable:
        raise InputError(
            f"{files.unreachable[0]}: is part of this pair, but is in no folder that the page may "
            "look into: put it back, or start `blendkit review` with its folder after the first"
        )
    check_own_paint(
        files.asked,
        painted=bool(files.masks) or any(one.role != "nearer" for one in task.strokes),
        instead="run `blendkit batch` again to merge it, or paint it here",
    )
    files.result.parent.mkdir(parents=True, exist_ok=True)
    given = Given(
        background=files.background,
        foreground=files.foreground,
        foreground_mask=files.masks.get("foreground_mask"),
        background_mask=files.masks.get("background_mask"),
        matte=files.masks.get("matte"),
        strokes=files.strokes,
        clear=files.clear,
        aligned=files.asked.aligned,
        raw_colours=files.asked.raw_colours,
    )
    paths = target_paths(files.result, layers=task.layers)
    if edited_since(files.result, paths["report"]):
        raise InputError(f"{files.result.name}: {KEPT}")
    check_targets(paths, given.paths, bits=files.bits)
    began = time.perf_counter()
    told("reading", 0.0)
    pair = read_pair(given)
    time_s = {"read": time.perf_counter() - began}
    hints = with_strokes(pair.hints, task.strokes, pair.background.size)
    hints = replace(hints, ties=task.ties)
    try:
        merged = merge_pair(
            pair.background, pair.hand_over(), hints=hints, settings=task.settings, progress=told
        )
    except AlignmentError as error:
        write_refusal(
            refusal_path(paths["report"]),
            error.reason,
            advice=CURE if error.cure else "",
            inputs=pair.inputs,
            settings=task.settings,
            time_s=time_s,
        )
        raise AlignmentError(error.with_cure(CURE)) from error
    bridges = read_bridges(files.bridges if task.repairs else (), pair)
    repaired = repaired_by(merged, pair, task.repairs, bridges)
    told("writing", 0.99)
    write_result(
        files.result,
        repaired.merged,
        pair.background,
        pair.foreground,
        inputs=(*pair.inputs, *bridges),
        bits=files.bits,
        layers=task.layers,
        asked=replace(
            files.asked, handwork=handwork(task.strokes, task.ties, task.settings, task.repairs)
        ),
        repairs=repaired.records,
        time_s=time_s,
    )


def start(task: Task) -> tuple[Any, Connection]:
    """Start a process for a task; it tells what it does through the connection (`Said`)."""
    context = multiprocessing.get_context("spawn")
    here, there = context.Pipe(duplex=False)
    process = context.Process(target=_run, args=(task, there), daemon=True)
    process.start()
    there.close()
    return process, here


def _run(task: Task, pipe: Connection) -> None:
    signal.signal(signal.SIGINT, signal.SIG_IGN)  # Ctrl-C is the server's to obey
    signal.signal(signal.SIGTERM, _stop)
    try:
        merge_in_full(task, lambda stage, share, /: pipe.send(("stage", stage, float(share))))
        pipe.send(("done", "", 1.0))
    except BlendkitError as error:
        pipe.send(("failed", " ".join(str(error).split()), 0.0))
    except Exception as error:
        if lacked_memory(error):
            pipe.send(("failed", NO_MEMORY, 0.0))
            return
        why = f"{type(error).__name__}: {error}; this is a fault of blendkit"
        pipe.send(("failed", " ".join(why.split()), 0.0))
        raise


def _stop(_number: int, _frame: object) -> None:
    raise SystemExit(1)
