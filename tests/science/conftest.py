"""Property tests judge answers, not the speed of the machine: a busy one must not fail them."""

from hypothesis import settings

settings.register_profile("untimed", deadline=None)
settings.load_profile("untimed")
