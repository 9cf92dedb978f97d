"""Battery: a monitor of its voltage."""
