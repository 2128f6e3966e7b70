"""What goes out and comes in: what comes in goes through the operations, or keeps to their checks."""
