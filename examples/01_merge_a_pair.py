"""Merge a pair through the Python API: the test images, or frames of your own.

python examples/01_merge_a_pair.py OUT
python examples/01_merge_a_pair.py OUT WIDE.tif STOPPED.tif PAINTED.png
"""

import sys
from pathlib import Path

from blendkit.merge import merge_pair
from blendkit.report import Given, read_pair, write_result

IMAGES = Path(__file__).parents[1] / "testimages"
OWN = ("gate-wide.tif", "gate-stopped.tif", "gate-painted.png")

out = Path(sys.argv[1]) if len(sys.argv) > 1 else Path()
wide, stopped, painted = map(Path, sys.argv[2:5]) if sys.argv[2:] else (IMAGES / n for n in OWN)

# The roles are found: the smaller f-number is the background frame.
pair = read_pair(Given(frames=(stopped, wide), foreground_mask=painted))
print(pair.why)

# Arrays in, arrays out; nothing is written yet.
merged = merge_pair(pair.background, pair.foreground, hints=pair.hints)
print(f"alignment: {merged.alignment.model}, confidence {merged.alignment.confidence:.2f}")
print(f"foreground on {merged.matte.alpha.mean():.1%} of the picture")
for group in merged.groups:
    print(f"blur disc of the foreground in the background frame: {group.disc_px:.0f} px")
for flag in merged.flags:
    print(f"{flag.severity}: {flag.message}; {flag.advice}")

written = write_result(
    out / "gate.tif", merged, pair.background, pair.foreground, inputs=pair.inputs, layers=True
)
for what, path in written.paths.items():
    print(f"{what}: {path}")
