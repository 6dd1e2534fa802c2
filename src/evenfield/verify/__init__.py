"""Outside checks: what evenfield computes, set against closed forms, published tables and other programs.

Nothing below this floor is imported by the engine: it looks at the engine from outside.
"""
