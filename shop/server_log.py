"""The web server's own log in the same form as the app's, and as silent about people."""

import os

from django.conf import settings
from gunicorn.config import Config
from gunicorn.glogging import Logger

from shop.logs import Json, Line


class ServerLog(Logger):  # type: ignore[misc]  # gunicorn has no types
    """For gunicorn's ``--logger-class``: what goes wrong before or around the app; no access log."""

    def setup(self, cfg: Config) -> None:
        super().setup(cfg)
        os.environ.setdefault("DJANGO_SETTINGS_MODULE", "shop.settings")
        form = Json() if settings.LOG == "json" else Line()
        for handler in self.error_log.handlers:
            handler.setFormatter(form)
