"""Real merges of which some may not have the memory that they need; importable in any process."""

import resource
from pathlib import Path

import psutil

from blendkit.batch.job import merge_job
from blendkit.batch.records import Job, Outcome

ROOM = 16 * 2**20


def work(job: Job) -> Outcome:
    """Merge a pair; one whose name begins with "hungry" gets 16 MiB more than there are now."""
    import blendkit.report.bundle  # noqa: F401, PLC0415 - what is loaded needs no more room

    before = resource.getrlimit(resource.RLIMIT_AS)
    if job.name.startswith("hungry"):
        used = psutil.Process().memory_info().vms
        resource.setrlimit(resource.RLIMIT_AS, (used + ROOM, before[1]))
    try:
        return merge_job(job)
    finally:
        resource.setrlimit(resource.RLIMIT_AS, before)


def starving(job: Job) -> Outcome:
    """Raise what Python raises where memory does not suffice, outside of any merge."""
    if job.name.startswith("hungry"):
        raise MemoryError(f"no memory for {Path(job.output).name}")
    return Outcome(job.name, "merged")
