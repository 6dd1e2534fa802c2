"""Argon2 with the least work it allows, so that tests spend their time elsewhere."""

from django.contrib.auth.hashers import Argon2PasswordHasher


class CheapArgon2Hasher(Argon2PasswordHasher):
    """The same algorithm and format as in use, nearly free."""

    time_cost = 1
    memory_cost = 8
    parallelism = 1
