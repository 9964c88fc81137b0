"""A rear-view film of both legs to marks: found, followed and doubted, never guessed."""
