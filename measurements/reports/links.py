"""Links by which a customer reads one report: unguessable, for a while, until revoked."""

import secrets
from datetime import timedelta

from django.utils import timezone

from measurements.models import ReportLink, ServiceReport
from measurements.plan.feed import digest_of
from shop.models import ShopProfile, User
from shop.trouble import note


def make_link(report: ServiceReport, by: User) -> str:
    """Make a link and return its token, which is kept nowhere else."""
    token = secrets.token_urlsafe(32)
    ReportLink.objects.create(
        report=report,
        token_digest=digest_of(token),
        created_by=by,
        expires_at=timezone.now() + timedelta(days=ShopProfile.current().link_days),
    )
    return token


def open_link(token: str) -> tuple[ReportLink, ServiceReport] | None:
    """The link of a token with the newest revision of its report; None once it is closed.

    What is looked up is a digest, so how long that takes tells nothing of the token.
    """
    link = (
        ReportLink.objects.filter(
            token_digest=digest_of(token), revoked_at=None, expires_at__gt=timezone.now()
        )
        .select_related("report")
        .first()
    )
    if link is None:
        return None
    return link, ServiceReport.objects.filter(number=link.report.number).newest().get()


def mark_opened(link: ReportLink) -> None:
    opened = ReportLink.objects.filter(pk=link.pk)
    note(lambda: opened.update(opened_at=timezone.now()))


def revoke_link(number: int, key: int) -> bool:
    """Close a link of a report; says whether it was open. Twice is as good as once."""
    open_ones = ReportLink.objects.filter(pk=key, report__number=number, revoked_at=None)
    return bool(open_ones.update(revoked_at=timezone.now()))
