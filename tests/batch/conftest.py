"""Makes the helpers beside the tests importable, here and in the processes that tests start."""

import sys
from pathlib import Path

sys.path.insert(0, str(Path(__file__).parent))
