"""The second factor: a code that changes every half minute, and codes on paper for when it is not at hand.

One confirmed device a person, and with it a set of backup codes. Of those only keyed digests are kept.
Setting up, switching off and replacing end the person's other sign-ins, so that whoever is signed in has
given a code since the factor was set up; the decorators of ``shop.roles`` check that once more.
"""

import base64
import logging
import math
import secrets
from datetime import datetime
from urllib.parse import quote

import segno
from django.db import transaction
from django.utils import timezone
from django.utils.crypto import salted_hmac
from django_otp.plugins.otp_static.models import StaticDevice, StaticToken
from django_otp.plugins.otp_totp.models import TOTPDevice

from shop.models import CODE_ALPHABET, ShopProfile, User
from shop.sign_in.throttle import end_everywhere

log = logging.getLogger("shop.sign_in")

BACKUP_CODES = 10
BACKUP_LENGTH = 10
NAME = "second factor"


def factor_of(user: User) -> TOTPDevice | None:
    """The device by whose codes a person signs in; None where a password is enough."""
    return TOTPDevice.objects.filter(user=user, confirmed=True).order_by("pk").first()


def backup_codes_left(user: User) -> int:
    return int(StaticToken.objects.filter(device__user=user).count())


@transaction.atomic
def new_factor(user: User) -> TOTPDevice:
    """Make a device that is not in use before a code of it is confirmed; one left half set up is replaced."""
    User.objects.select_for_update().get(pk=user.pk)
    TOTPDevice.objects.filter(user=user, confirmed=False).delete()
    return TOTPDevice.objects.create(user=user, name=NAME, confirmed=False)


def unconfirmed(user: User) -> TOTPDevice | None:
    return TOTPDevice.objects.filter(user=user, confirmed=False).order_by("-pk").first()


def secret_text(device: TOTPDevice) -> str:
    """The secret as it is typed where no code can be scanned: base 32, in fours."""
    text = base64.b32encode(device.bin_key).decode().rstrip("=")
    return " ".join(text[place : place + 4] for place in range(0, len(text), 4))


def key_address(device: TOTPDevice) -> str:
    """The secret as the address that authenticator apps read, with the shop's name as who issued it."""
    address: str = device.config_url
    issuer = quote(ShopProfile.current().name.replace(":", "").strip())
    if not issuer:
        return address
    return address.replace("//totp/", f"//totp/{issuer}:", 1) + f"&issuer={issuer}"


def qr_data(device: TOTPDevice) -> str:
    """That address as a QR code, as data that an ``img`` shows; dark on light in every scheme."""
    code = segno.make(key_address(device), error="m", micro=False)
    return str(code.svg_data_uri(scale=4, border=4, dark="#000", light="#fff"))


def confirm(user: User, code: str) -> list[str] | None:
    """Take a new device into use, if the code is its own, and return backup codes; else None.

    It replaces one in use, ends all of the person's sign-ins, and the codes are kept nowhere else.
    """
    with transaction.atomic():
        device = TOTPDevice.objects.select_for_update().filter(user=user, confirmed=False).last()
        if device is None or not device.verify_token(_digits(code)):
            return None
        TOTPDevice.objects.filter(user=user).exclude(pk=device.pk).delete()
        device.confirmed = True
        device.save()
        codes = _new_backup_codes(user)
        end_everywhere(user)
    log.info("person %s set up a second factor", user.pk)
    return codes


@transaction.atomic
def renew_backup_codes(user: User) -> list[str]:
    """Replace a person's backup codes; the old ones open nothing any more."""
    log.info("person %s made new backup codes", user.pk)
    return _new_backup_codes(user)


@transaction.atomic
def switch_off(user: User) -> None:
    """Forget a person's second factor and backup codes, and end every sign-in."""
    TOTPDevice.objects.filter(user=user).delete()
    StaticDevice.objects.filter(user=user).delete()
    end_everywhere(user)
    log.info("second factor of person %s switched off", user.pk)


@transaction.atomic
def check(user: User, typed: str) -> bool:
    """Whether what was typed is a code of the person's device, or a backup code; each opens once."""
    device = _device_for(user, typed, lock=True)
    if isinstance(device, TOTPDevice):
        return bool(device.verify_token(_digits(typed)))
    if device is None or not device.verify_token(_digest(user, typed)):
        return False
    log.warning("person %s used a backup code", user.pk)
    return True


def seconds_to_wait(user: User, typed: str) -> int:
    """How long no such code of this person is looked at, after wrong ones; it doubles with each."""
    device = _device_for(user, typed)
    allowed, more = device.verify_is_allowed() if device else (True, None)
    if allowed or more is None or "locked_until" not in more:
        return 0
    until: datetime = more["locked_until"]
    return math.ceil((until - timezone.now()).total_seconds())


def _device_for(user: User, typed: str, *, lock: bool = False) -> TOTPDevice | StaticDevice | None:
    """Six digits are a code of the device, anything else is a backup code."""
    digits = _digits(typed)
    model = TOTPDevice if digits.isascii() and digits.isdigit() else StaticDevice
    rows = model.objects.filter(user=user, confirmed=True).order_by("pk")
    return (rows.select_for_update() if lock else rows).first()


def _digits(typed: str) -> str:
    return "".join(typed.split())


def _digest(user: User, typed: str) -> str:
    """What is kept of a backup code: 96 bits of a digest keyed by the server's secret and the person."""
    plain = "".join(letter for letter in typed.upper() if letter in CODE_ALPHABET)
    mac = salted_hmac("shop.sign_in.backup", f"{user.pk}:{plain}", algorithm="sha256")
    return base64.urlsafe_b64encode(mac.digest())[:16].decode()


def _new_backup_codes(user: User) -> list[str]:
    StaticDevice.objects.filter(user=user).delete()
    device = StaticDevice.objects.create(user=user, name=NAME, confirmed=True)
    codes = [
        "".join(secrets.choice(CODE_ALPHABET) for _ in range(BACKUP_LENGTH))
        for _ in range(BACKUP_CODES)
    ]
    StaticToken.objects.bulk_create(
        StaticToken(device=device, token=_digest(user, code)) for code in codes
    )
    half = BACKUP_LENGTH // 2
    return [f"{code[:half]}-{code[half:]}" for code in codes]
