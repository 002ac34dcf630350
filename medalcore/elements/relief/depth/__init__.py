"""The depth of a source as it is seen from above its face."""
