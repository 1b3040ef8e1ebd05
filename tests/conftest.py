"""No test reads from or writes into the user's own cache, and generated examples are the same in every run.

To look for new counter-examples: HYPOTHESIS_PROFILE=explore python -m pytest.
"""

from __future__ import annotations

import os
import tempfile

import pytest
from hypothesis import settings

_cache = tempfile.TemporaryDirectory(prefix="dosecheck-tests-")  # kept to the end of the run, then removed
os.environ["XDG_CACHE_HOME"] = _cache.name

settings.register_profile("repeatable", deadline=None, derandomize=True)
settings.register_profile("explore", deadline=None, derandomize=False)
settings.load_profile(os.environ.get("HYPOTHESIS_PROFILE", "repeatable"))


@pytest.fixture
def pango() -> None:
    """For tests that write a PDF: pip cannot install the system library that it needs."""
    try:
        import weasyprint  # noqa: F401
    except OSError as error:
        pytest.skip(f"Pango, a system library, is missing, so that no PDF can be written: {error}"[:200])
