"""What may pass its limit: the bed, the kiln, and the grain that stands too hot."""
