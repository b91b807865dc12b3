"""Settings for mypy's Django plugin, which reads models and never connects: addresses that lead nowhere."""

import os

from server import embedded

os.environ.update(embedded.nowhere())
from server.settings import *  # noqa: F403 - the environment has to be there before the settings read it
