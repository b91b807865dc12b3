"""The data agreement's text: one file a version and language in texts/, set for a farm; read by page, API and paper."""

from server.agreement.text import AgreementText, Section, language_here, text_of

__all__ = ["AgreementText", "Section", "language_here", "text_of"]
