"""What is on record of letters, as a template filter in the reader's language."""

from django import template

from measurements.plan import mail_trouble

register = template.Library()
register.filter("trouble_words", mail_trouble.trouble_words)
