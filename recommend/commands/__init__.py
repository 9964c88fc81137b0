"""One module per group of commands: parse, call, show, exit code."""
