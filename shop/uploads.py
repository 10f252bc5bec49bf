"""How much of an upload is taken in: as much as a form may accept of a file, the rest only counted.

Without this a file of any size would be written to the disk before a form could refuse it. What is too
large keeps its true size and is refused by its form in words; what it holds beyond the limit is dropped
as it comes. A request that no form can want is refused by its own word about its length, unread.
"""

from typing import Any

from django.core.exceptions import RequestDataTooBig
from django.core.files.uploadhandler import TemporaryFileUploadHandler

#: The largest file that any form takes (``archive`` of old records, ``kept`` of photos), and a bit.
MOST_OF_A_FILE = 20_000_100
#: Ten photos of the largest size, with room for the rest of the form.
MOST_OF_A_REQUEST = 140_000_000


class CappedUploadHandler(TemporaryFileUploadHandler):
    """Writes a file to the disk up to the limit and counts on."""

    def handle_raw_input(
        self,
        input_data: Any,
        META: dict[str, Any],
        content_length: int,
        boundary: Any,
        encoding: str | None = None,
    ) -> None:
        if content_length > MOST_OF_A_REQUEST:
            raise RequestDataTooBig(
                f"A request of {content_length} bytes; the most is {MOST_OF_A_REQUEST}."
            )

    def receive_data_chunk(self, raw_data: bytes, start: int) -> None:
        if start < MOST_OF_A_FILE:
            super().receive_data_chunk(raw_data[: MOST_OF_A_FILE - start], start)
