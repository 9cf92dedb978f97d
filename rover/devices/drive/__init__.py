"""The drive: two motor channels, the wheels of a side coupled."""
