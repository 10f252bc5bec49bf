"""What the scripts say, in the language of the page that loads them.

A script holds its sentences in English and asks for each by itself. The page carries those of its
language as a data block; an English page carries none, and the scripts then say what they hold.
"""

from functools import cache

from django.conf import settings
from django.utils.translation import get_language, ngettext, override
from django.utils.translation import gettext as _


def script_words() -> dict[str, str]:
    """Every sentence of the scripts in the language of the page, by its English; empty in English."""
    return _words_in(get_language() or settings.LANGUAGE_CODE)


@cache
def _words_in(language: str) -> dict[str, str]:
    if language == settings.LANGUAGE_CODE:
        return {}
    with override(settings.LANGUAGE_CODE):
        ours = _sentences()
    with override(language):
        return dict(zip(ours, _sentences(), strict=True))


def _sentences() -> list[str]:
    return [*_of_drafts(), *_of_answers(), *_of_outbox(), *_of_waiting()]


def _of_drafts() -> list[str]:
    return [
        _("Throw it away, start afresh"),
        _(
            "What you typed here on %(when)s and did not save is filled in again. Check it, then save."
        ),
        _(
            "Something else typed here is kept too: it is filled in when you open this form after "
            "saving this or throwing it away."
        ),
        _("This form was saved or thrown away in another tab. Look there before you save it here."),
        _(
            "This form is open in another tab too, and something was typed there. What you type here "
            "is kept by itself; if both mean the same, save only one of them."
        ),
    ]


def _of_answers() -> list[str]:
    """How sending went."""
    return [
        _("Your sign-in has ended. Sign in again; nothing is lost."),
        _("It is sent when %(name)s signs in on this device."),
        _("The server is in trouble (%(status)s). It is tried again by itself."),
        _("Your sign-in may not save check-ins."),
        _("The shop no longer has this instrument or check-in."),
        _("The server refused it (%(status)s)."),
        _("No connection to the shop's server. It is sent when the connection is back."),
        _("Sent and saved:"),
    ]


def _of_outbox() -> list[str]:
    return [
        _("%(n)s waiting"),
        _("%(n)s waiting, %(refused)s refused"),
        _("yes"),
        _("The check-in is kept on this device."),
        _("Saving…"),
        _("No connection: save all the same. The figures are checked when they are sent."),
        _(
            "No connection. This form was kept on this device on %(when)s; "
            "it does not know what was measured or done since."
        ),
        _("Save as usual: the check-in waits here and is sent when the connection is back."),
        _("Saved on this device on %(when)s; the shop's server does not have it."),
        _("%(title)s, saved here on %(when)s"),
        _("On this device only. Signing out throws away:"),
        _("Stay signed in"),
        _("Sign out and lose this"),
        *(
            sentence
            for n in (1, 2)
            for sentence in (
                ngettext(
                    "%(n)s check-in has not reached the shop's server",
                    "%(n)s check-ins have not reached the shop's server",
                    n,
                ),
                ngettext(
                    "%(n)s check-in waits on this device. Nothing is lost: what is yours is sent "
                    "once you are signed in and the connection is back.",
                    "%(n)s check-ins wait on this device. Nothing is lost: what is yours is sent "
                    "once you are signed in and the connection is back.",
                    n,
                ),
            )
        ),
    ]


def _of_waiting() -> list[str]:
    """The page of what waits on a device."""
    return [
        _("… Sending"),
        _("▲ Refused, not saved"),
        _("○ Waiting to be sent"),
        _("Open in the form"),
        _("Saved here on %(when)s by %(name)s"),
        _("Try again"),
        _("Throw away"),
        _("Nothing waits: every check-in saved on this device has reached the server."),
        _("Sending…"),
        _("%(sent)s sent, %(left)s still here."),
        _("Throw this check-in away?"),
        _("It is on this device only and cannot be got back:"),
        _("Keep it"),
        _("Throw it away"),
    ]
