"""The app's settings with one address more, the bare view that its pages are measured against."""

from shop.settings import *  # noqa: F403

ROOT_URLCONF = "bench.web_urls"
