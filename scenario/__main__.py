"""`python -m scenario` makes the nights; see README.md."""

import sys

from scenario.generate import main

if __name__ == "__main__":
    sys.exit(main())
