"""Undo and redo without limit: every state of the strokes is kept, and a place among them."""

from collections.abc import Sequence

from blendkit.masks.strokes import Stroke

State = tuple[Stroke, ...]


class History:
    """States of a pair's strokes.

    It starts as if every stroke had been painted by itself, so that strokes of an earlier day can
    be undone one by one.

    Examples
    --------
    >>> dab = Stroke(((1.0, 2.0),), 5.0, "foreground")
    >>> history = History([dab])
    >>> history.add([dab, dab])
    >>> history.undo(), len(history.now), history.undo(), len(history.now), history.undo()
    (True, 1, True, 0, False)
    """

    def __init__(self, strokes: Sequence[Stroke] = ()) -> None:
        self._strokes = tuple(strokes)
        # Each state is so many of the strokes; what is undone lies beyond the one at hand.
        self._counts = list(range(len(self._strokes) + 1))
        self._at = len(self._counts) - 1

    @property
    def now(self) -> State:
        """The strokes as they are."""
        return self._strokes[: self._counts[self._at]]

    @property
    def can_undo(self) -> bool:
        """Whether there is a state before this one."""
        return self._at > 0

    @property
    def can_redo(self) -> bool:
        """Whether something was undone that can be done again."""
        return self._at + 1 < len(self._counts)

    def add(self, strokes: Sequence[Stroke]) -> None:
        """Paint strokes that belong together; what was undone before is gone."""
        self._strokes = (*self.now, *strokes)
        del self._counts[self._at + 1 :]
        self._counts.append(len(self._strokes))
        self._at += 1

    def undo(self) -> bool:
        """Go back one state; False if there is none."""
        moved = self.can_undo
        self._at -= moved
        return moved

    def redo(self) -> bool:
        """Go forward one state; False if there is none."""
        moved = self.can_redo
        self._at += moved
        return moved
