"""The small aircraft, which its own tests use too."""

import sys
from pathlib import Path

sys.path.insert(0, str(Path(__file__).parents[1] / "aircraft"))
