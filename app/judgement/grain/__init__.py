"""The grain itself: where it came from, what was counted and weighed of it, and what is left."""
