"""For every test: a slow or busy machine is no failure, so examples have no deadline."""

from hypothesis import settings

settings.register_profile("unhurried", deadline=None)
settings.load_profile("unhurried")
