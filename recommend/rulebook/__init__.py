"""The rule language: models, loading with file and line, compiling to conditions."""

from recommend.rulebook.book import CompiledRule, Rulebook
from recommend.rulebook.opened import load_rulebook, prepared_rulebook

__all__ = ["CompiledRule", "Rulebook", "load_rulebook", "prepared_rulebook"]
