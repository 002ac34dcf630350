"""A source's depth told in the height of a low relief."""
