"""The repairs of a pair in a batch: those kept in its sidecar, else those its list asks for."""

from collections.abc import Sequence
from dataclasses import dataclass

from blendkit.batch.pairs_file import Pair
from blendkit.errors import InputError
from blendkit.merge import Merged
from blendkit.repair import MODES, Attempt, Repaired
from blendkit.report.document import Input
from blendkit.report.inputs import Pair as ReadPair
from blendkit.report.mending import modes_of, read_bridges, repaired_by
from blendkit.sidecar import Sidecar


@dataclass(frozen=True, eq=False, slots=True)
class Mended:
    """A pair with its repairs; bridges as the report lists them, troubles as sentences."""

    repaired: Repaired
    bridges: tuple[Input, ...]
    troubles: tuple[str, ...]


def mended(own: Pair, sidecar: Sidecar, merged: Merged, pair: ReadPair) -> Mended:
    """Repair a merged pair.  A repair that cannot be done is told and costs the pair nothing else.

    Parameters
    ----------
    own : the pair as listed; sidecar : its sidecar, whose repairs win.
    merged : what came of it; pair : its frames as they were read.
    """
    asked, bridges, troubles = modes_for(own, sidecar), list[Input](), list[str]()
    modes = tuple(mode for mode in asked if mode in MODES)
    for path in own.bridges if modes else ():
        try:
            bridges += read_bridges([path], pair)
        except InputError as error:
            troubles.append(f"a bridge frame was not used: {error}")
    if not bridges:
        troubles += [_without(mode, own) for mode in modes if mode == "bridge"]
        modes = tuple(mode for mode in modes if mode != "bridge")
    troubles += unheard_of(asked)
    repaired = repaired_by(merged, pair, modes, bridges)
    if sidecar.repairs or own.repair:
        troubles += _refused(repaired.attempts)
    return Mended(repaired, tuple(bridges), tuple(troubles))


def modes_for(own: Pair, sidecar: Sidecar) -> tuple[str, ...]:
    """Return the repairs to carry out, in order."""
    return modes_of(sidecar.repairs, own.bridges, own.repair or "")


def unheard_of(modes: Sequence[str]) -> list[str]:
    """Return a sentence for each mode of repair that there is not.

    >>> unheard_of(("taper", "polish"))[0][:32]
    "the repair 'polish' was left out"
    """
    known = ", ".join(MODES)
    return [
        f"the repair {mode!r} was left out, as it is none of {known}"
        for mode in modes
        if mode not in MODES
    ]


def _without(mode: str, own: Pair) -> str:
    if own.bridges:
        return f"the repair {mode} was left out, as none of its frames can be used"
    return f"the repair {mode} was left out: name the frames as bridges of {own.name}"


def _refused(attempts: tuple[Attempt, ...]) -> list[str]:
    """Return why what was asked for was not applied, if nothing was."""
    if any(attempt.applied for attempt in attempts):
        return []
    return [f"the repair {one.mode} was not applied: {one.why}" for one in attempts]
