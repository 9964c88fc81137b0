"""The customer's page: what was measured, what it means, what was chosen, how to wear it in."""

from recommend.show.sheet.content import Sheet, sheet_of
from recommend.show.sheet.messages import Wording, messages
from recommend.show.sheet.page import Paper, page

__all__ = ["Paper", "Sheet", "Wording", "messages", "page", "sheet_of"]
