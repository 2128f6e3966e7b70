"""What a person says of a batch or a lot: the form of each kind, its questions, and keeping it."""
