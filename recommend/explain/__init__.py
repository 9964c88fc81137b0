"""Why: the derivation of an outcome as a tree, from products to readings and sources."""
