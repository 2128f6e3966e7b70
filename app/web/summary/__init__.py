"""A batch at a glance, as several pages show it: its flags, its kiln, its forecasts, its row in a list."""
