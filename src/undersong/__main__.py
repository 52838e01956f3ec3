"""`python -m undersong` is the command line."""

import sys

from undersong.cli.main import main

if __name__ == "__main__":
    sys.exit(main())
