"""The clinic's own settings, with a data directory that is thrown away and a cheap password hash."""

import atexit
import os
import shutil
import tempfile
from pathlib import Path

from evenfield.clinic.home import HOME_VARIABLE, prepare_home

_home = Path(tempfile.mkdtemp(prefix="evenfield-test-"))
atexit.register(shutil.rmtree, _home, ignore_errors=True)
prepare_home(_home)
os.environ[HOME_VARIABLE] = str(_home)

from evenfield.clinic.settings import *  # noqa: E402, F403

PASSWORD_HASHERS = ["tests.clinic.cheap_hash.CheapArgon2Hasher"]
