"""The documents of a bundle: one typed model for each file."""
