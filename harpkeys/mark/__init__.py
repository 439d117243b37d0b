"""Cues on the page: what is printed where, in the tree that was read, and files written safely."""

from harpkeys.mark.document import marked_document
from harpkeys.mark.style import MarkStyle

__all__ = ["MarkStyle", "marked_document"]
