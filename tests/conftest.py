"""What holds for every test."""

from hypothesis import settings

# A deadline measures the machine and whatever else runs on it; speed is measured in tests/measure.
settings.register_profile("formread", deadline=None)
settings.load_profile("formread")
