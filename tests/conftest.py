"""What all tests share."""

from hypothesis import settings

# A busy machine is slow, not wrong.
settings.register_profile("unhurried", deadline=None)
settings.load_profile("unhurried")
