"""The Fennick Light: the models and the spec of the demo piece."""
