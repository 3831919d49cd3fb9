"""`python -m listening` is the command line."""

import sys

from listening.start import main

sys.exit(main())
