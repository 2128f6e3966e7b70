"""The facts that stand, in order of time: one batch's story, its stages, and who corrected whom."""
