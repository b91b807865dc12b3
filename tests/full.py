"""Whether the long run was asked for: `manage.py test --full` counts in thousands where CI counts in hundreds."""

import os

FULL = bool(os.environ.get("FLYROUND_FULL"))
