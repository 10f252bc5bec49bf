"""The shop's own address, for links that are read elsewhere: on labels, in letters, by a calendar."""

import re

from django.conf import settings
from django.http import HttpRequest

_HOST = r"(?:[a-z0-9.-]+|\[[0-9a-f:]+\])(?::[0-9]{1,5})?"
SECURE = re.compile(f"https://{_HOST}")
EITHER = re.compile(f"https?://{_HOST}")


def site_of(setting: str, *, secure: bool) -> str:
    """The address a setting gives, like ``https://shop.example``; empty where it gives none.

    Raises
    ------
    ValueError
        If it is more or less than scheme, host and port, or plain HTTP where ``secure`` is asked for.
    """
    site = setting.strip().rstrip("/").lower()
    if site and not (SECURE if secure else EITHER).fullmatch(site):
        raise ValueError(
            f"SADDLEROOM_SITE is an address like {'https' if secure else 'http'}://shop.example, with a "
            f"port where it needs one and nothing after it, not {setting!r}."
        )
    return site


def absolute(request: HttpRequest, path: str) -> str:
    """The whole address of ``path``: at the shop's own address where one is set, else as asked for.

    A request says by itself under which name and port it came; whoever asks may write any port there.
    """
    return f"{settings.SITE}{path}" if settings.SITE else request.build_absolute_uri(path)
