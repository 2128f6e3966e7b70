"""What can be said: the kinds of fact, their shapes and fields, and how each is read from what was typed."""
