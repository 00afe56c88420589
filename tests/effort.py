"""How many examples the property tests try: few in the suite, more when asked.

`COACH_TEST_EFFORT=50 pytest tests/song` tries fifty times as many; `tests.bench.bench_songs` spoils 5,000 files.
"""

from __future__ import annotations

import os

from hypothesis import HealthCheck, settings

EFFORT = int(os.environ.get("COACH_TEST_EFFORT", "1"))


def examples(usual: int) -> settings:
    """Settings for a law that is checked on `usual` examples, however long one takes."""
    many = usual * EFFORT
    return settings(max_examples=many, deadline=None, suppress_health_check=[HealthCheck.too_slow])
