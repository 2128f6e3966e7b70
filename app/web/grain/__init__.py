"""Grain on the move, shared by the pages of batches and of packs: where from, how much, how moist, and keeping it."""
