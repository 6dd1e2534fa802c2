"""`python -m evenfield` is the same as `evenfield`."""

import sys

from evenfield.cli import main

sys.exit(main())
