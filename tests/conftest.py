"""What holds for all tests."""

import signal

from hypothesis import HealthCheck, settings

# The same examples each time, in as much time as they need: a test that fails does so by a change, not by load or luck.
# `pytest --hypothesis-profile=explore` looks at others.
settings.register_profile("suite", deadline=None, derandomize=True, suppress_health_check=[HealthCheck.too_slow])
settings.register_profile("explore", deadline=None, suppress_health_check=[HealthCheck.too_slow])
settings.load_profile("suite")

# A shell starts what it runs in the background with SIGINT ignored, and programs that tests start would inherit that.
signal.signal(signal.SIGINT, signal.default_int_handler)
