"""The people of the demo shop; never made in production."""

from shop.models import User

DEMO_PASSWORD = "saddle-demo"  # noqa: S105  printed by `make demo`; refused in production
DEMO_NAMES = ("owner", "tech", "counter")


def demo_logins() -> list[tuple[str, str]]:
    """Demo user names that are here, with their roles; those whose password was changed are left out."""
    people = User.objects.filter(username__in=DEMO_NAMES, is_active=True).prefetch_related("groups")
    return [
        (person.username, ", ".join(group.name for group in person.groups.all()))
        for person in sorted(people, key=lambda person: DEMO_NAMES.index(person.username))
        if person.check_password(DEMO_PASSWORD)
    ]
