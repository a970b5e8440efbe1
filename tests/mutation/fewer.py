"""pytest plug-in for `collect`: a few examples a property show which lines it runs."""

from hypothesis import settings

settings.register_profile("few", max_examples=4, deadline=None)
settings.load_profile("few")
