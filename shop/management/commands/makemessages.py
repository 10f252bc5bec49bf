"""Django's own ``makemessages``, which knows ``gettext_lazy`` by the short name that we give it, too."""

from django.core.management.commands import makemessages


class Command(makemessages.Command):
    xgettext_options = [*makemessages.Command.xgettext_options, "--keyword=_lazy"]
