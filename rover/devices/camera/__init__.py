"""Camera: frames, and what is found in them."""
