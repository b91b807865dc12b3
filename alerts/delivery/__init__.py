"""Mails about what the weekly check found: written when it ran, kept in the outbox, sent by a task."""
