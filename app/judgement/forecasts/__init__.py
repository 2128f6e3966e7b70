"""How moist, how grown and how dry a batch is and will be: curves fitted to what was measured, with their intervals."""
