"""A stand-in for the merge: quick, so that tests can kill it often; importable in any process.

What a pair does is written in its background file: "ok", "error", "die" (its process is killed),
"once" (killed the first time only), and how many milliseconds it takes.
"""

import os
import signal
import time
from pathlib import Path

from blendkit.batch.ledger import remember, seal, sealed
from blendkit.batch.pairs_file import Pair
from blendkit.batch.records import Job, Outcome
from blendkit.files.atomic import atomic

SIZE = 200_000


def work(job: Job) -> Outcome:
    """Do what the pair's background file says and leave a result that can be checked."""
    verb, took_ms, *_ = job.pair.background.read_text().split()
    kept = sealed(job)
    if kept is not None:
        remember(job, kept.outcome, kept.files)
        return kept.outcome
    _note(job, "begun.log")
    time.sleep(int(took_ms) / 1000)
    if verb == "error":
        raise RuntimeError("the stand-in was told to fail")
    marker = job.pair.background.with_suffix(".died")
    if verb == "die" or (verb == "once" and not marker.exists()):
        marker.touch()
        os.kill(os.getpid(), signal.SIGKILL)
    outcome = Outcome(job.name, "merged", (), job.output.name)
    with atomic(job.output) as temporary:
        with temporary.open("wb") as stream:
            whole, step = content(job.name), SIZE // 10
            for start in range(0, SIZE, step):
                stream.write(whole[start : start + step])
                time.sleep(0.001)
        seal(job, outcome, {job.output: temporary})
    _note(job, "done.log")
    remember(job, outcome, [job.output])
    return outcome


def _note(job: Job, log: str) -> None:
    with (job.records.parent / log).open("a") as stream:
        stream.write(f"{job.name}\n")


def content(name: str) -> bytes:
    """Return what a whole result holds."""
    return (name.encode() * SIZE)[:SIZE]


def invented_pairs(folder: Path, verbs: list[str], *, took_ms: int = 5) -> tuple[Pair, ...]:
    """Write the files of pairs that do what `verbs` say and return the pairs."""
    folder.mkdir(parents=True, exist_ok=True)
    pairs = []
    for number, verb in enumerate(verbs):
        background, foreground = folder / f"w{number:02d}.txt", folder / f"s{number:02d}.txt"
        if not background.exists():
            background.write_text(f"{verb} {took_ms}\n")
            foreground.write_text(f"{number}\n")
        pairs.append(Pair(f"p{number:02d}", background, foreground))
    return tuple(pairs)
