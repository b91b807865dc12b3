"""Signing in by a mailed one-time code: no password, no signing up, mails in the reader's language."""

from typing import Any

from allauth.account.adapter import DefaultAccountAdapter
from django.conf import settings
from django.contrib.auth import get_user_model, login
from django.core.mail import EmailMessage
from django.http import HttpRequest, HttpResponse
from django.utils import timezone, translation
from django.utils.translation import gettext_lazy as _

from farms.services import LogKind, note_in_all_logs
from farms.tenancy.acting import act_for_user
from server.after_answer import when_answered

NOBODY = "account/email/unknown_account"


class AccountAdapter(DefaultAccountAdapter):  # type: ignore[misc]
    """allauth's adapter. People are let in by their farm or group, so nobody signs up."""

    error_messages = DefaultAccountAdapter.error_messages | {
        "incorrect_code": _("That isn't the code from the latest mail. Look at the mail again and type its code."),
        "too_many_login_attempts": _("That was tried too often. Wait five minutes, then ask for a new code."),
        "rate_limited": _("That was asked for too often. Wait five minutes, then try again."),
        "account_inactive": _("This account is switched off. Ask the coordinator of your group."),
    }

    def is_open_for_signup(self, request: HttpRequest) -> bool:
        return False

    def send_mail(self, template_prefix: str, email: str, context: dict[str, Any]) -> None:
        """Write a mail now, and send it when the answer is out.

        For an address that nobody has, the same mail is written and thrown away: neither the answer nor the time that
        it takes tells who has an account here.
        """
        if template_prefix == NOBODY:
            template_prefix, known = "account/email/login_code", False
            context = context | {"code": self.generate_login_code()}
        else:
            known = bool(context.get("known", True))
        message = self.render_mail(template_prefix, email, context)
        when_answered(context["request"], message.send if known else lambda: None)

    def render_mail(
        self,
        template_prefix: str,
        email: str | list[str],
        context: dict[str, Any],
        headers: dict[str, str] | None = None,
    ) -> EmailMessage:
        address = email if isinstance(email, str) else email[0]
        with translation.override(language_of(address)):
            message: EmailMessage = super().render_mail(template_prefix, email, context, headers)
        return message

    def login(self, request: HttpRequest, user: Any) -> None:
        enter(request, user, way="code")

    def post_login(self, request: HttpRequest, user: Any, **kwargs: Any) -> HttpResponse:
        response: HttpResponse = super().post_login(request, user, **kwargs)
        speak(response, user.language)
        return response


def enter(request: HttpRequest, user: Any, *, way: str) -> None:
    """Sign a person in, and note it in the log of every farm that they may see. `way` is code or link."""
    login(request, user, backend=settings.AUTHENTICATION_BACKENDS[0])
    act_for_user(user.id)
    note_in_all_logs(user=user, kind=LogKind.SIGN_IN, now=timezone.now(), about=way)


def language_of(address: str) -> str:
    """The language of the user with this address; the page's where nobody has it."""
    found = get_user_model().objects.filter(email=address.lower()).values_list("language", flat=True).first()
    return found or translation.get_language() or settings.LANGUAGE_CODE


def speak(response: HttpResponse, language: str) -> None:
    """Keep a language in this browser."""
    response.set_cookie(
        settings.LANGUAGE_COOKIE_NAME,
        language,
        max_age=365 * 24 * 3600,
        secure=settings.SECURE,
        samesite="Lax",
    )
