"""`python -m pondpop` is `pondpop`."""

import sys

from pondpop.cli import main

sys.exit(main())
