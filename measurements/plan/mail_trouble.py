"""Why a letter did not go: a sentence of ours for the page, the mail server's own words for the log.

What a mail server says is written by others: it names the address, quotes what it likes and may be of any
length. On record and on the page stands what kind of refusal it was, with the server's numbers; in the log
its words, shortened, without control characters and without what names the customer.
"""

import errno
import re
import smtplib
import ssl
from collections.abc import Iterable
from socket import gaierror

from django.utils.translation import gettext as _
from django.utils.translation import gettext_noop

from shop.models import Customer

#: Characters of the server's words that the log keeps.
LOGGED = 300
# RFC 5321, 4.2.1: the first digit of a reply, 4 or 5, tells whether trying again may help.
_TRY_AGAIN = gettext_noop("try again later")
# RFC 3463: class, subject and detail.
_DETAIL = re.compile(rb"\s*([245]\.\d{1,3}\.\d{1,3})\b")
#: The first that an exception is one of; several are kinds of a later one. Whether trying again may help.
_SAID: tuple[tuple[type[BaseException], str, bool], ...] = (
    (
        smtplib.SMTPRecipientsRefused,
        gettext_noop("the mail server does not take letters for this address"),
        False,
    ),
    (
        smtplib.SMTPSenderRefused,
        gettext_noop("the mail server does not take letters from the shop's address"),
        False,
    ),
    (smtplib.SMTPDataError, gettext_noop("the mail server refused the letter"), False),
    (
        smtplib.SMTPAuthenticationError,
        gettext_noop("the mail server does not accept the shop's name and password"),
        False,
    ),
    (smtplib.SMTPServerDisconnected, gettext_noop("the mail server broke off"), True),
    (
        smtplib.SMTPException,
        gettext_noop("the mail server and the shop's settings for it do not agree"),
        False,
    ),
    (ssl.SSLError, gettext_noop("no safe connection to the mail server could be made"), False),
    (TimeoutError, gettext_noop("the mail server did not answer in time"), True),
    (gaierror, gettext_noop("the mail server was not found by its name"), False),
    (OSError, gettext_noop("the mail server could not be reached"), True),
)
_NOT_HANDED_OVER = gettext_noop("it could not be handed to the mail server")
_ON_RECORD = re.compile(rf"([^;()]+?)(; {_TRY_AGAIN})?( \([^()]*\))?")


def why_it_did_not_go(error: Exception) -> str:
    """A sentence for the record: the kind of refusal, and the numbers that the server gave.

    It is kept as it stands here; ``trouble_words`` shows it.
    """
    found = next(((words, again) for kind, words, again in _SAID if isinstance(error, kind)), None)
    if found is None:
        return f"{_NOT_HANDED_OVER} ({type(error).__name__})"
    said, again = found
    code, words = _reply(error)
    if again or 400 <= code < 500:
        said += f"; {_TRY_AGAIN}"
    detail = _DETAIL.match(words)
    numbers = [str(code)] if code else []
    numbers += [detail[1].decode()] if detail else []
    if not numbers and isinstance(error, OSError):
        numbers = [name for number, name in errno.errorcode.items() if number == error.errno]
    return f"{said} ({' '.join(numbers)})" if numbers else said


def trouble_words(kept: str) -> str:
    """What is on record of a refusal, in the reader's language."""
    found = _ON_RECORD.fullmatch(kept)
    if found is None:
        return kept
    said, again, numbers = found.groups("")
    return _(said) + (f"; {_(_TRY_AGAIN)}" if again else "") + numbers


def for_the_log(error: Exception, customer: Customer, to: Iterable[str]) -> str:
    """What the server said, without the customer's name, addresses and telephone number."""
    code, words = _reply(error)
    said = words.decode("utf-8", "replace") if code else str(error)
    said = re.sub(r"\S*@\S*", "…", said)
    known = {customer.name, customer.phone, *re.findall(r"\w{2,}", customer.name)}
    known |= {part for address in to for part in (address, address.partition("@")[0])}
    for part in sorted(known - {""}, key=len, reverse=True):
        said = re.sub(re.escape(part), "…", said, flags=re.IGNORECASE)
    plain = " ".join("".join(c if c.isprintable() else " " for c in said).split())
    return f"{type(error).__name__} {code or ''}: {plain[:LOGGED]}".replace(" :", ":")


def _reply(error: Exception) -> tuple[int, bytes]:
    """The server's number and words; 0 where there was no answer."""
    code: int
    words: bytes | str
    if isinstance(error, smtplib.SMTPRecipientsRefused):
        code, words = next(iter(error.recipients.values()), (0, b""))
    elif isinstance(error, smtplib.SMTPResponseException):
        code, words = error.smtp_code, error.smtp_error
    else:
        return 0, b""
    return int(code), words if isinstance(words, bytes) else words.encode()
