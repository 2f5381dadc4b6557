"""``python -m baizebook`` is ``baizebook``."""

import sys

from .ops.cli import main

sys.exit(main())
