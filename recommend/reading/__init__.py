"""Strict reading of what people write: YAML and JSON with file, line and column."""

from recommend.reading.checked import Id, Strict, Words, problems_in, told_apart, validate
from recommend.reading.document import Document, read_bytes, read_document, read_text, written

__all__ = [
    "Document",
    "Id",
    "Strict",
    "Words",
    "problems_in",
    "read_bytes",
    "read_document",
    "read_text",
    "told_apart",
    "validate",
    "written",
]
