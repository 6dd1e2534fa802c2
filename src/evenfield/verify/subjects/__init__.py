"""The outside checks, one subject a module. Importing a module registers its checks."""
