"""How a tag stands in an address."""

from django.urls.converters import StringConverter


class TagConverter(StringConverter):
    """The characters a tag may have; anything else is no instrument's address."""

    regex = r"[\w .\-]{1,32}"
