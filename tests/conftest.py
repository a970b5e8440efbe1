"""What all tests share."""

from __future__ import annotations

from hypothesis import HealthCheck, settings

# The first call of a kernel compiles it, which says nothing about the code; examples are the same in every run.
settings.register_profile(
    "tunnelsite", deadline=None, derandomize=True, suppress_health_check=[HealthCheck.too_slow], max_examples=25
)
settings.load_profile("tunnelsite")
