"""The sentences of ``measurements.words`` and ``measurements.advice.verdicts`` as template filters."""

from django import template

from measurements import words
from measurements.advice import verdicts

register = template.Library()
register.filter("reset_words", words.reset_words)
register.filter("saddle_words", words.saddle_words)
register.filter("work_words", words.work_words)
register.filter("angle_words", words.angle_words)
register.filter("state_note", verdicts.state_note)
