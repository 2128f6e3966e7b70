"""The plan for a malt: steps, limits and ceiling, each number with its mark and source; the built-in ones beside it."""
