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

from shop.models import Customer

#: Characters of the server's words that the log keeps.
LOGGED = 300
# RFC 5321, 4.2.1: the first digit of a reply, 4 or 5, tells whether trying again may help.
_TRY_AGAIN = "try again later"
# RFC 3463: class, subject and detail.
_DETAIL = re.compile(rb"\s*([245]\.\d{1,3}\.\d{1,3})\b")
#: The first that an exception is one of; several are kinds of a later one.
_SAID: tuple[tuple[type[BaseException], str], ...] = (
    (smtplib.SMTPRecipientsRefused, "the mail server does not take letters for this address"),
    (smtplib.SMTPSenderRefused, "the mail server does not take letters from the shop's address"),
    (smtplib.SMTPDataError, "the mail server refused the letter"),
    (
        smtplib.SMTPAuthenticationError,
        "the mail server does not accept the shop's name and password",
    ),
    (smtplib.SMTPServerDisconnected, f"the mail server broke off; {_TRY_AGAIN}"),
    (smtplib.SMTPException, "the mail server and the shop's settings for it do not agree"),
    (ssl.SSLError, "no safe connection to the mail server could be made"),
    (TimeoutError, f"the mail server did not answer in time; {_TRY_AGAIN}"),
    (gaierror, "the mail server was not found by its name"),
    (OSError, f"the mail server could not be reached; {_TRY_AGAIN}"),
)


def why_it_did_not_go(error: Exception) -> str:
    """A sentence for the record: the kind of refusal, and the numbers that the server gave."""
    said = next((words for kind, words in _SAID if isinstance(error, kind)), "")
    if not said:
        return f"it could not be handed to the mail server ({type(error).__name__})"
    code, words = _reply(error)
    if 400 <= code < 500 and _TRY_AGAIN not in said:
        said += f"; {_TRY_AGAIN}"
    detail = _DETAIL.match(words)
    numbers = [str(code)] if code else []
    numbers += [detail[1].decode()] if detail else []
    if not numbers and isinstance(error, OSError):
        numbers = [name for number, name in errno.errorcode.items() if number == error.errno]
    return f"{said} ({' '.join(numbers)})" if numbers else said


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
