"""`python -m api.cli`: the command without an installed script."""

import sys

from api.cli import main

sys.exit(main())
