"""Properties are tried on the same examples in every run; see DEVELOPERS.md to seek new ones."""

from hypothesis import settings

settings.register_profile("seeded", derandomize=True, database=None)
settings.register_profile("explore", derandomize=False, database=None)
settings.load_profile("seeded")
