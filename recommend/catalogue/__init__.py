"""Products and their generic attributes, sizes, and which insole fits which shoe."""
