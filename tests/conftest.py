"""Lets tests of one folder use the made-up problems and the outside judges of another."""

from __future__ import annotations

import sys
from pathlib import Path

for folder in ("plan", "outside", "shelf"):
    sys.path.append(str(Path(__file__).parent / folder))
