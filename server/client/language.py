"""The language in which the service is asked to answer: the one of the environment."""

import os
import re
from collections.abc import Mapping

# The order in which POSIX reads them, after GNU's list of languages.
VARIABLES = ("LANGUAGE", "LC_ALL", "LC_MESSAGES", "LANG")


def language(environment: Mapping[str, str] = os.environ) -> str:
    """What Accept-Language should say: es_MX.UTF-8 is "es-MX, es;q=0.9, en;q=0.5"; English where nothing is said."""
    said = next((environment[name] for name in VARIABLES if environment.get(name)), "")
    found = re.match(r"([a-z]{2,3})(?:_([A-Z]{2}))?(?![A-Za-z])", said)
    if found is None or found[1] == "en":
        return "en"
    country = f"{found[1]}-{found[2]}, " if found[2] else ""
    return f"{country}{found[1]}{';q=0.9' if country else ''}, en;q=0.5"
