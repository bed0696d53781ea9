"""Jobs on a Dask distributed scheduler; frames and output folder lie on a disk that all share."""

from collections.abc import Iterator, Sequence
from dataclasses import dataclass

from blendkit.batch.records import Job, Outcome, Work, failed
from blendkit.errors import InputError

_CONNECT_S = 10


@dataclass(frozen=True, slots=True)
class Cluster:
    """Runs jobs on the workers of a scheduler, such as tcp://10.0.0.5:8786."""

    work: Work
    address: str

    def run(self, jobs: Sequence[Job]) -> Iterator[Outcome]:
        """Yield an outcome for every job, in the order in which they end.

        The scheduler gives a lost worker's pairs to the others.

        Raises
        ------
        InputError : the extra is missing, or no scheduler answers.
        """
        try:
            from distributed import Client, as_completed  # noqa: PLC0415 - an extra
        except ImportError as error:
            raise InputError("--cluster needs more: install blendkit[cluster]") from error
        try:
            client = Client(self.address, timeout=_CONNECT_S, set_as_default=False)
        except (OSError, ValueError, TimeoutError) as error:
            raise InputError(
                f"--cluster {self.address}: no scheduler answers; start one with dask scheduler"
            ) from error
        with client:
            futures = {
                client.submit(
                    self.work, job, key=f"blendkit-{job.fingerprint}-{job.name}", pure=False
                ): job
                for job in jobs
            }
            try:
                for future in as_completed(futures, loop=client.loop):
                    yield _outcome(future, futures[future])
            finally:
                client.cancel(list(futures))


def _outcome(future: object, job: Job) -> Outcome:
    try:
        outcome: Outcome = future.result()  # type: ignore[attr-defined]
    except Exception as error:  # noqa: BLE001 - one pair must not stop the others
        name = type(error).__name__
        if name == "KilledWorker":
            return failed(job, "several workers ended while they merged it: look at their logs")
        return failed(job, f"{name}: {error}; look at the workers' logs")
    return outcome
