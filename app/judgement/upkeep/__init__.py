"""The house itself: its water, what is cleaned when, and whether its instruments show what is so."""
