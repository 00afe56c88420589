"""Property tests here have no time limit: a busy machine is not a wrong fact."""

from hypothesis import settings

settings.register_profile("unhurried", deadline=None)
settings.load_profile("unhurried")
