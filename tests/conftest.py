"""What all tests share."""

from __future__ import annotations

import os
import signal

from hypothesis import HealthCheck, settings

# OpenMP's threads keep their core busy for a while after each parallel kernel, in case there is another; two tests at a
# time take that core from each other. Read once, when numba loads OpenMP: hence here, before any test is imported.
os.environ.setdefault("OMP_WAIT_POLICY", "PASSIVE")

# The first call of a kernel compiles it, which says nothing about the code; examples are the same in every run.
settings.register_profile(
    "tunnelsite", deadline=None, derandomize=True, suppress_health_check=[HealthCheck.too_slow], max_examples=25
)
settings.load_profile("tunnelsite")

# Whoever starts the tests in the background may ignore these for them; the commands that tests interrupt would inherit that.
for _name, _usual in (("SIGINT", signal.default_int_handler), ("SIGHUP", signal.SIG_DFL), ("SIGTERM", signal.SIG_DFL)):
    if hasattr(signal, _name) and signal.getsignal(getattr(signal, _name)) == signal.SIG_IGN:
        signal.signal(getattr(signal, _name), _usual)
