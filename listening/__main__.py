"""`python -m listening` is the command line."""

import sys

from listening.cli import main

sys.exit(main())
