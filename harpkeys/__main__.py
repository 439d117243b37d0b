"""`python -m harpkeys`: the command line."""

import sys

from harpkeys.cli import main

if __name__ == "__main__":
    sys.exit(main())
