"""Is this computer, this robot, this errand ready: `rover check`, bring-up, and the start of a run."""
