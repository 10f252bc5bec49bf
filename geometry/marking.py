"""Marks English sentences that whoever shows them may translate; nothing is translated here."""


def gettext_noop(text: str) -> str:
    """The text itself. Tools that gather sentences for translation look for calls of this name."""
    return text
