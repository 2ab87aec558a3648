"""Scenes that the tests of robustness and of the aircraft share."""

import sys
from pathlib import Path

for name in ("robustness", "aircraft"):
    sys.path.insert(0, str(Path(__file__).parents[1] / name))
