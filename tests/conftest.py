"""What holds for all tests."""

import signal

# A shell starts what it runs in the background with SIGINT ignored, and programs that tests start would inherit that.
signal.signal(signal.SIGINT, signal.default_int_handler)
