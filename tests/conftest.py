"""For all tests: how hypothesis searches."""

from __future__ import annotations

import os

from hypothesis import HealthCheck, settings

# No deadline: a busy machine is no failure. In CI the same examples every time, so that a failure can be repeated.
settings.register_profile(
    "panel",
    deadline=None,
    derandomize=os.environ.get("CI") == "true",
    suppress_health_check=[HealthCheck.too_slow],
)
settings.load_profile("panel")
