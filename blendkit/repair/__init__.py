"""Repairs what the mid-ground's flags point at, and says before and after.

Each mode makes new pixels from the frames that are there, works out the blur that results, judges
it by the rule that raised the flag, and is applied only if the eye sees the gain.  Nothing is
invented: the source map names every repaired pixel.
"""

from blendkit.repair.records import MODES, Attempt, Mode, Repaired
from blendkit.repair.run import check_asked, repair_result

__all__ = ["MODES", "Attempt", "Mode", "Repaired", "check_asked", "repair_result"]
