"""The rule language: models, loading with file and line, compiling to conditions."""
