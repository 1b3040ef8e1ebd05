"""No test reads from or writes into the user's own cache."""

from __future__ import annotations

import os
import tempfile

_cache = tempfile.TemporaryDirectory(prefix="dosecheck-tests-")  # kept to the end of the run, then removed
os.environ["XDG_CACHE_HOME"] = _cache.name
