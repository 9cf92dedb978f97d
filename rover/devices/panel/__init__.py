"""The panel: what the operator finds on the robot itself."""
