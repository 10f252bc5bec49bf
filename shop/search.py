"""What a person typed into a search box."""

from django.http import HttpRequest

LONGEST = 100


def wanted(request: HttpRequest, name: str = "q") -> str:
    """The text looked for, trimmed; without the NUL that PostgreSQL refuses."""
    return request.GET.get(name, "").replace("\0", "").strip()[:LONGEST]
