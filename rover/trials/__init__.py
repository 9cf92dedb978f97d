"""Many rehearsals side by side: what an errand comes to, over seeds, drawn robots and faults."""
