"""Makes the pair in this folder: a cellist at an orchard gate, behind bare apple boughs.

    python testimages/make.py

Everything is drawn and photographed by blendkit's own simulator, from one seed.
"""

import shutil
import tempfile
from pathlib import Path

from blendkit.cli.demo_files import simulated, write_pair

SIZE_PX = (480, 320)
SEED = 3
HERE = Path(__file__).parent

with tempfile.TemporaryDirectory() as folder:
    for path in write_pair(Path(folder), simulated(SIZE_PX, SEED), SEED).values():
        shutil.move(path, HERE / f"gate-{path.name}")
        print(f"wrote {HERE / f'gate-{path.name}'}")
