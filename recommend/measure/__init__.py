"""From captures and scores to measures; knows nothing of rules."""
