"""Cases that are known to fail, with how: a case that fails otherwise, or no longer, fails the test.

The list only shrinks: a cure takes its cases out.
"""

from __future__ import annotations

KNOWN_OPEN: dict[int, str] = {}
"""Number of a case -> the outcome it has (see ``verdicts.py``)."""
