"""What the kernel offers drivers: pins, pulses, and files with a number in them."""
