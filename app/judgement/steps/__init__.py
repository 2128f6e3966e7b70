"""What to do next, when and why."""
