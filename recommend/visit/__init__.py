"""What was observed at one visit: the models and the reading of a visit file."""
