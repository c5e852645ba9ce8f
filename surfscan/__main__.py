"""`python -m surfscan` is the `surfscan` command."""

import sys

from surfscan.cli import main

if __name__ == "__main__":
    sys.exit(main())
