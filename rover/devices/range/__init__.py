"""Range: an ultrasonic range finder looking ahead."""
