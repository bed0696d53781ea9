"""Finds which part of each pixel is foreground: from painting, or from the pair alone.

`strokes` rasterises what the user painted, `search_region` says where foreground may stand,
`network` proposes the matte from both frames, `closed_form` settles what the network leaves open,
`colors` frees the foreground's colours of what shone through.
"""

from dataclasses import dataclass

from blendkit.frame import Bool, Float


@dataclass(frozen=True, eq=False, slots=True)
class Matte:
    """Coverage and colour of the sharp foreground on the background grid.

    alpha: float32 (height, width), 0 to 1.
    color: straight colour, float32 (height, width, 3), linear; meaningful where alpha > 0.
    searched: bool (height, width), where it was looked for.
    """

    alpha: Float
    color: Float
    searched: Bool

    def alone(self, covered: Bool) -> bool:
        """Return whether it is all that the foreground frame reaches: there is nothing to match.

        covered: bool (height, width), where that frame reaches.
        """
        return bool((self.alpha[covered] >= 1).all())
