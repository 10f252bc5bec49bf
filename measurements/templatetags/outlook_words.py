"""The sentences of ``measurements.words`` and ``measurements.advice.verdicts`` as template filters."""

from django import template
from django.utils.html import format_html
from django.utils.safestring import SafeString

from measurements import words
from measurements.advice import verdicts
from measurements.models import State

register = template.Library()
register.filter("reset_words", words.reset_words)
register.filter("saddle_words", words.saddle_words)
register.filter("work_words", words.work_words)
register.filter("angle_words", words.angle_words)
register.filter("state_note", verdicts.state_note)

SHAPES: dict[str, str] = {State.OVERDUE: "▲", State.BOOK: "■", State.WATCH: "◆", State.ROOM: "○"}


@register.filter
def shape(state: str) -> SafeString:
    """The shape of a state, for the eye alone."""
    return format_html('<span aria-hidden="true">{}</span>', SHAPES.get(state, "…"))


@register.filter
def state_mark(state: State | str) -> SafeString:
    """A state as it stands everywhere, shape and words."""
    words = State(state).label
    return format_html('<span class="state state-{}">{} {}</span>', state, shape(state), words)
