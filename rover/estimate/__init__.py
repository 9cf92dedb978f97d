"""Where the robot is: odometry, the pose filter and its gates."""
