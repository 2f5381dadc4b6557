"""Publishing a schedule: what it says to each controller that it reaches."""
