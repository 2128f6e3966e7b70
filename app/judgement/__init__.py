"""What a batch is, and what its facts mean: pure functions, with the moment to judge at as an argument."""
