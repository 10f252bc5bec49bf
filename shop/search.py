"""What a person typed into a search box."""

from django.http import HttpRequest

LONGEST = 100


def wanted(request: HttpRequest, name: str = "q") -> str:
    """The text looked for, trimmed."""
    return trimmed(request.GET.get(name, ""))


def trimmed(text: str) -> str:
    """As much of a text as is looked for, without the NUL that PostgreSQL refuses."""
    return text.replace("\0", "").strip()[:LONGEST]
