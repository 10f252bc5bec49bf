"""Whether the German words are there: our own need the catalogue, days and decimals do not."""

import pytest
from django.conf import settings

needs_words = pytest.mark.skipif(
    not (settings.BASE_DIR / "shop/locale/de/LC_MESSAGES/django.mo").exists(),
    reason="the words are not compiled: run `make words`",
)
