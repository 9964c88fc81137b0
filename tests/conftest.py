"""For every test: a folder in place of the user's data and settings, and time without an end."""

import os
import tempfile

from hypothesis import settings

settings.register_profile("unhurried", deadline=None)  # a slow or busy machine is no failure
settings.load_profile("unhurried")

# A shop that runs the tests has customers of its own: they are neither read nor written here.
_ELSEWHERE = tempfile.TemporaryDirectory(prefix="recommend-tests-")
for _name in [_name for _name in os.environ if _name.startswith("RECOMMEND_")]:
    if _name != "RECOMMEND_ENGINE":  # which engine concludes is the platform's
        del os.environ[_name]
os.environ["XDG_DATA_HOME"] = os.environ["XDG_CONFIG_HOME"] = _ELSEWHERE.name
