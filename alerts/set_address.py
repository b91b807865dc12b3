"""An address that whoever runs the service has set to be called: the watchdog's, the text message service's."""

from urllib.parse import urlsplit

from django.conf import settings


def why_not_called(name: str) -> str | None:
    """Why the address in the setting <name>_URL is not called, or None; <name>_MAY_BE_PLAIN allows http."""
    try:
        parts = urlsplit(getattr(settings, f"{name}_URL"))
        named = bool(parts.hostname)
    except ValueError:
        named = False
    if not named or parts.scheme not in ("https", "http"):
        return f"{name}_URL is no address that begins with https://"
    if parts.scheme == "http" and not getattr(settings, f"{name}_MAY_BE_PLAIN"):
        return f"{name}_URL does not begin with https://, and {name}_MAY_BE_PLAIN is not set"
    return None
