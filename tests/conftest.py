"""No test writes into the user's own cache, and tests of every folder may import the helpers beside this file."""

from __future__ import annotations

import os
import sys
import tempfile
from pathlib import Path

_cache = tempfile.TemporaryDirectory(prefix="dosecheck-tests-")  # kept to the end of the run, then removed
os.environ["XDG_CACHE_HOME"] = _cache.name
sys.path.insert(0, str(Path(__file__).parent))
