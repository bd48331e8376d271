"""``python -m rimekeeper`` is the same as the ``rimekeeper`` command."""

from __future__ import annotations

import sys

from rimekeeper.cli import main

sys.exit(main())
