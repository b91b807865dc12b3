"""The language in which a user reads pages and mails."""

from django.utils.translation import gettext_lazy as _

from farms.errors import Invalid
from farms.models import User
from farms.models.group import LANGUAGES


class LanguageUnknown(Invalid):
    code = "language_unknown"
    message = _("Choose en or es.")


def set_language(*, user: User, language: str) -> User:
    """Speak this language to a user from now on. Raises LanguageUnknown."""
    if language not in dict(LANGUAGES):
        raise LanguageUnknown(pointer="/language")
    User.objects.filter(id=user.id).update(language=language)
    user.language = language
    return user
